import { optionName } from '../option-names.js';
import { distanceOfFalloff, type FocusFit, falloffAt, gapFalloff, goodFalloff } from '../rail/focus-fit.js';
import { maxRegularStep, type RailTravel } from '../rail/rail-travel.js';
import type { FrameMotion } from '../register/motion-solution.js';
import type { Finding } from '../result/finding.js';
import { shortNumber } from '../result/report/numbers.js';
import type { Direction } from '../stack/focus-direction.js';
import { type CoverageShares, coverageFindings } from './coverage-findings.js';
import { framesText, skipText } from './finding-text.js';
import { addPlace, countOf, emptyNinths, mainPart } from './picture-part.js';
import { type RailScale, travelText } from './rail-scale.js';

/** Where a frame is sharpest: in the tiles that come into focus nearest to it. */
export interface FrameFocus {
  number: number;
  /** Share of the tiles with detail that are sharpest in it, percent. */
  sharpestPercent: number;
  /** Middle of the part that holds most of them, as parts of width and height; undefined without any. */
  centre: { x: number; y: number } | undefined;
  /** Which part of the picture that is, in words. */
  part: string;
}

export interface FocusJudgement {
  frames: FrameFocus[];
  coverage: CoverageShares;
  findings: Finding[];
}

/** Best focus this far beyond the plane of an outer frame, in steps and widths, is not reached by it; as in the maps of a merge. */
const beyondSteps = 0.75;
const beyondWidths = 0.15;
/** Curves this narrow show little of what lies beyond an end: the place of its focus is that much less sure, steps. */
const narrowWidth = 0.6;
const narrowDoubt = 0.5;
/** Fewer frames show no focus curve. */
const fewestFrames = 3;
/** Fits with a larger error tell of two things in one tile. */
const clearFit = 0.6;
/** Frames without use at an end that are worth a word. */
const manyNeedless = 3;
/** Steps that differ by no more than this factor are told as alike: widths of curves are not known better. */
const alikeStep = 1.15;
/** Fewer tiles do not tell what is needless. */
const fewestTiles = 20;
/** Tiles, of those with detail, that are noise of the fit, percent. */
const strayPercent = 0.5;
/** The same where the curves are narrow. */
const narrowStrayPercent = 6;

const tooFewFrames: Finding = {
  kind: 'too-few-frames',
  rank: 'note',
  frames: [],
  message: `Two frames do not show whether the steps are right or the stack is long enough: that takes ${fewestFrames}.`,
  advice: 'See for yourself that everything is sharp in one of them.',
};

/**
 * Judges by tiles what a stack covers.
 *
 * @param fineWidth Width of the focus curves of the finest detail, usual steps.
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
  const margin = beyondSteps + beyondWidths * fineWidth + (fineWidth < narrowWidth ? narrowDoubt : 0);
  const gapCounts = new Array<number>(last).fill(0);
  const sharpest = frames.map(() => emptyNinths());
  const seen: number[] = [];
  let [before, after, detailed] = [0, 0, 0];
  const missing: [number[], number[]] = [[], []];
  for (const [tile, focus] of fit.tiles.entries()) {
    if (!focus) continue;
    detailed++;
    const column = tile % columns;
    addPlace(sharpest[focus.best], (column + 0.5) / columns, ((tile - column) / columns + 0.5) / rows);
    if (focus.error > clearFit) continue;
    seen.push(focus.position);
    if (focus.best === 0 && focus.position < positions[0] - margin) {
      before++;
      missing[0].push(positions[0] - focus.position);
    } else if (focus.best === last && focus.position > positions[last] + margin) {
      after++;
      missing[1].push(focus.position - positions[last]);
    } else {
      const k = positions.findIndex(
        (position, i) => i < last && focus.position >= position && focus.position < positions[i + 1],
      );
      if (k < 0) continue;
      const off = Math.min(focus.position - positions[k], positions[k + 1] - focus.position);
      if (-falloffAt(off, fineWidth) > gapFalloff) gapCounts[k]++;
    }
  }
  const percent = (count: number) => (100 * count) / all;
  const least = fineWidth < narrowWidth ? narrowStrayPercent : strayPercent;
  const isStray = (count: number) => detailed === 0 || (100 * count) / detailed < least || count < 4;
  // Only where the step itself leaves a gap: a stray fit is none.
  const gaps = gapCounts.flatMap((count, k) => {
    const step = Math.abs(positions[k + 1] - positions[k]);
    // A single long step is told as missed, with its gap.
    const isGap = count > 0 && -falloffAt(step / 2, fineWidth) > gapFalloff && step < maxRegularStep;
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
    missingBefore: highest(missing[0]),
    missingAfter: highest(missing[1]),
    neededStepPart: 2 * distanceOfFalloff(goodFalloff, fineWidth),
    spanSteps: nominalSpan(travel),
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
      frames.length < fewestFrames
        ? [tooFewFrames]
        : [
            ...coverageFindings(coverage),
            ...stepFinding(coverage),
            ...needless(seen, travel, frames, fineWidth),
          ],
  };
}

/** From the first frame to the last as it was to be, usual steps: the plain ones count as one each. */
function nominalSpan({ steps }: RailTravel): number {
  return steps.reduce((sum, step) => sum + (step >= maxRegularStep ? Math.round(step) : 1), 0);
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
  const isAlike = part > 1 / alikeStep && part < alikeStep;
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

/** Nine tenths of what lies beyond an end. */
function highest(distances: readonly number[]): number | undefined {
  const sorted = [...distances].sort((p, q) => p - q);
  return sorted.length > 0 ? sorted[Math.floor(0.9 * (sorted.length - 1))] : undefined;
}

function needless(
  seen: readonly number[],
  { positions }: RailTravel,
  frames: readonly { number: number; usable: boolean }[],
  width: number,
): Finding[] {
  if (seen.length < fewestTiles || frames.some(({ usable }) => !usable)) return [];
  const sorted = [...seen].sort((p, q) => p - q);
  const stray = Math.floor((strayPercent / 100) * sorted.length);
  // A frame more than the half width of a curve beyond what is sharpest at this end adds nothing.
  const room = Math.max(1, width);
  const nearest = sorted[stray] - room;
  const farthest = sorted[sorted.length - 1 - stray] + room;
  const start = positions.findIndex((position) => position >= nearest);
  const end = positions.length - 1 - [...positions].reverse().findIndex((position) => position <= farthest);
  const findings: Finding[] = [];
  for (const [count, side, numbers] of [
    [start, 'start', frames.slice(0, Math.max(0, start))],
    [positions.length - 1 - end, 'end', frames.slice(end + 1)],
  ] as const) {
    if (count < manyNeedless) continue;
    const own = numbers.map(({ number }) => number);
    findings.push({
      kind: 'needless-frames',
      rank: 'note',
      frames: own,
      message: `At the ${side} of the stack nothing is sharp in ${framesText(own)} that is not sharper in others.`,
      advice: `They do no harm; leave them out with ${optionName('skip')} ${skipText(own)} to save time.`,
    });
  }
  return findings;
}
