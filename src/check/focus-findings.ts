import { median } from '../image/median.js';
import { endReach, gapFalloff, goodFalloff, minLongStep } from '../model/constants/model.js';
import { distanceOfFalloff, falloffAt } from '../model/optical-model.js';
import { optionName } from '../option-names.js';
import { isThinSubject } from '../rail/focus-curves.js';
import type { FocusFit } from '../rail/focus-fit.js';
import { nominalPosition, type RailTravel } from '../rail/rail-travel.js';
import type { FrameMotion } from '../register/motion-solution.js';
import type { Finding } from '../result/finding.js';
import { shortNumber } from '../result/report/numbers.js';
import type { Direction } from '../stack/focus-direction.js';
import { type CoverageShares, coverageFindings } from './coverage-findings.js';
import { framesText, skipText } from './finding-text.js';
import { addPoint, countOf, emptyNinths, mainPart } from './picture-part.js';
import { type RailScale, travelText } from './rail-scale.js';

/** Where a frame is sharpest: in the tiles that come into focus nearest to it. */
export interface FrameFocus {
  number: number;
  /** Share of the tiles with detail that are sharpest in it, percent. */
  sharpestPercent: number;
  /** Centre of the part that contains most of them, as fractions of width and height; undefined without any. */
  centre: { x: number; y: number } | undefined;
  /** Which part of the picture that is, in words. */
  part: string;
}

export interface FocusJudgement {
  frames: FrameFocus[];
  coverage: CoverageShares;
  findings: Finding[];
}

const marginWidths = 0.15;
/**
 * Curves narrower than this show little of what lies beyond an end, so that its position is more uncertain: additional
 * margin, steps.
 */
const narrowWidth = 0.6;
const narrowMarginSteps = 0.5;
/** Minimum number of frames for a focus curve. */
const minFrames = 3;
/** Fits with a larger error belong to tiles that contain two depths, ln energy. */
const maxFitError = 0.6;
/** Minimum number of needless frames at an end that is reported. */
const minNeedlessFrames = 3;
/** Steps within this factor of the needed one are reported as equal: the width of the curves is not more accurate. */
const stepTolerance = 1.15;
/** Minimum number of tiles to judge what is needless. */
const minTiles = 20;
/** Share of the tiles with detail that are outliers of the fit, percent. */
const strayPercent = 0.5;
/** The same where the curves are narrow. */
const narrowStrayPercent = 6;

const tooFewFrames: Finding = {
  kind: 'too-few-frames',
  rank: 'note',
  frames: [],
  message: `Two frames do not show whether the steps are right or the stack is long enough: that takes ${minFrames}.`,
  advice: 'See for yourself that everything is sharp in one of them.',
};

/** Where no curve shows its width, nothing can be said of steps and ends. */
function withoutWidth(frames: number): Finding {
  return {
    kind: 'too-few-frames',
    rank: 'note',
    frames: [],
    message: `These ${frames} frames do not show whether the steps are right or the stack is long enough: no part of the picture comes into focus and goes out again between the first and the last.`,
    advice: 'See for yourself that everything is sharp in one of them, or add frames at both ends.',
  };
}

/**
 * Judges by tiles what a stack covers.
 *
 * @param fineWidth Half width of the focus curves of the finest detail, usual steps.
 */
export function judgeFocus(
  fit: FocusFit,
  columns: number,
  travel: RailTravel,
  frames: readonly FrameMotion[],
  direction: Direction,
  fineWidth: number,
  scale: RailScale = {},
): FocusJudgement {
  const { positions } = travel;
  const last = frames.length - 1;
  const all = fit.tiles.length;
  const rows = Math.ceil(all / columns);
  const margin = endReach + marginWidths * fineWidth + (fineWidth < narrowWidth ? narrowMarginSteps : 0);
  const gapCounts = new Array<number>(last).fill(0);
  const sharpest = frames.map(() => emptyNinths());
  const focusPositions: number[] = [];
  let [before, after, detailed] = [0, 0, 0];
  const missing: [number[], number[]] = [[], []];
  const common = commonPosition(fit, frames.length);
  for (const [tile, focus] of fit.tiles.entries()) {
    if (!focus) continue;
    detailed++;
    const column = tile % columns;
    addPoint(sharpest[focus.best], (column + 0.5) / columns, ((tile - column) / columns + 0.5) / rows);
    if (focus.error > maxFitError) continue;
    focusPositions.push(focus.position);
    if (focus.best === 0 && focus.position < positions[0] - margin) {
      before++;
      missing[0].push(positions[0] - focus.position);
    } else if (focus.best === last && focus.position > positions[last] + margin) {
      after++;
      missing[1].push(focus.position - positions[last]);
    } else {
      const at = common ?? focus.position;
      const k = positions.findIndex((position, i) => i < last && at >= position && at < positions[i + 1]);
      if (k < 0) continue;
      const off = Math.min(at - positions[k], positions[k + 1] - at);
      if (-falloffAt(off, fineWidth) > gapFalloff) gapCounts[k]++;
    }
  }
  const percent = (count: number) => (100 * count) / all;
  const minPercent = fineWidth < narrowWidth ? narrowStrayPercent : strayPercent;
  const isStray = (count: number) => detailed === 0 || (100 * count) / detailed < minPercent || count < 4;
  // Only where the step itself leaves a gap, which excludes outliers of the fit.
  const gaps = gapCounts.flatMap((count, k) => {
    const step = Math.abs(positions[k + 1] - positions[k]);
    // A single long step is reported as missed, with its gap.
    const isGap = count > 0 && -falloffAt(step / 2, fineWidth) > gapFalloff && step < minLongStep;
    return isGap ? [{ from: frames[k].number, to: frames[k + 1].number, percent: percent(count) }] : [];
  });
  const coverage: CoverageShares = {
    beforeFirst: isStray(before) ? 0 : percent(before),
    afterLast: isStray(after) ? 0 : percent(after),
    noDetail: percent(all - detailed),
    gapPercent: gaps.reduce((sum, gap) => sum + gap.percent, 0),
    gaps,
    firstNumber: frames[0].number,
    lastNumber: frames[last].number,
    direction,
    missingBefore: extentOf(missing[0]),
    missingAfter: extentOf(missing[1]),
    neededStepPart: 2 * distanceOfFalloff(goodFalloff, fineWidth),
    spanSteps: nominalPosition(travel.steps, travel.steps.length),
    ...scale,
  };
  return {
    frames: frames.map(({ number }, k) => ({
      number,
      sharpestPercent: detailed > 0 ? (100 * countOf(sharpest[k])) / detailed : 0,
      ...mainPart(sharpest[k]),
    })),
    coverage,
    findings:
      frames.length < minFrames
        ? [tooFewFrames]
        : [
            ...coverageFindings(coverage),
            ...stepFinding(coverage),
            ...(detailed > 0 && Number.isNaN(fineWidth) ? [withoutWidth(frames.length)] : []),
            ...needless(focusPositions, travel, frames, fineWidth),
          ],
  };
}

/**
 * Position of a subject thinner than a step, undefined for others: single tiles show theirs no better than to half a
 * step where steps are coarse, which would place some of them in gaps.
 */
function commonPosition({ tiles }: FocusFit, frames: number): number | undefined {
  const found = tiles.flatMap((tile) => (tile && tile.error <= maxFitError ? [tile] : []));
  const peaks = new Array<number>(frames).fill(0);
  for (const { best } of found) peaks[best]++;
  return isThinSubject(peaks) ? median(Float64Array.from(found, ({ position }) => position)) : undefined;
}

/** How the step compares with the one that the frames themselves ask for, where it leaves no gaps. */
function stepFinding(shares: CoverageShares): Finding[] {
  const { gapPercent, neededStepPart: part, stepMm } = shares;
  if (gapPercent > 0 || part === undefined || !Number.isFinite(part)) return [];
  const [present, good] =
    stepMm === undefined
      ? ['The step', '']
      : [`The step of ${travelText(stepMm, shares)}`, ` (${travelText(part * stepMm, shares)})`];
  const times = shortNumber(part, 1);
  const isAlike = part > 1 / stepTolerance && part < stepTolerance;
  return [
    {
      kind: 'step',
      rank: 'note',
      frames: [],
      message: isAlike
        ? `${present} is about the longest at which everything is still sharp in some frame${good}.`
        : part > 1
          ? `${present} is shorter than these frames ask for: one ${times} times as long${good} would still leave everything sharp in some frame.`
          : `${present} leaves no gaps, but is longer than these frames ask for: at ${shortNumber(part, 2)} of it${good} nothing between two frames would lose detail.`,
      advice: '',
    },
  ];
}

/** Extent beyond an end: the 90th percentile of the distances. */
function extentOf(distances: readonly number[]): number | undefined {
  const sorted = [...distances].sort((p, q) => p - q);
  return sorted.length > 0 ? sorted[Math.floor(0.9 * (sorted.length - 1))] : undefined;
}

function needless(
  focusPositions: readonly number[],
  { positions }: RailTravel,
  frames: readonly { number: number; usable: boolean }[],
  width: number,
): Finding[] {
  if (focusPositions.length < minTiles || frames.some(({ usable }) => !usable)) return [];
  const sorted = [...focusPositions].sort((p, q) => p - q);
  const stray = Math.floor((strayPercent / 100) * sorted.length);
  // A frame more than the half width of a curve beyond the outermost peak at this end adds nothing.
  const margin = Math.max(1, width);
  const nearest = sorted[stray] - margin;
  const farthest = sorted[sorted.length - 1 - stray] + margin;
  const start = positions.findIndex((position) => position >= nearest);
  const end = positions.length - 1 - [...positions].reverse().findIndex((position) => position <= farthest);
  const findings: Finding[] = [];
  for (const [count, side, numbers] of [
    [start, 'start', frames.slice(0, Math.max(0, start))],
    [positions.length - 1 - end, 'end', frames.slice(end + 1)],
  ] as const) {
    if (count < minNeedlessFrames) continue;
    const own = numbers.map(({ number }) => number);
    findings.push({
      kind: 'needless-frames',
      rank: 'note',
      frames: own,
      message: `At the ${side} of the stack nothing is sharp in ${framesText(own)} that is not sharper in others.`,
      advice: `They do no harm; leave them out with ${optionName('skip')} ${skipText(own)} to save time.`,
      fixes: [{ skip: own }],
    });
  }
  return findings;
}
