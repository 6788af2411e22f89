import { optionName } from '../option-names.js';
import { percentText, shortNumber } from '../result/report/numbers.js';
import type { Direction } from '../stack/focus-direction.js';
import type { Finding } from './finding.js';
import { fallAt, sureGapFall } from './focus-fit.js';
import { longestMeasuredStep, longestStep } from './frame-places.js';
import { type RailScale, travelText } from './rail-scale.js';
import { longestPlainStep } from './rail-travel.js';

/** What of the picture is sharp in no frame, by tiles before a merge or by pixels after it. */
export interface CoverageShares extends RailScale {
  /** Share of the picture by class, percent; see `coverageClasses`. */
  beforeFirst: number;
  afterLast: number;
  noDetail: number;
  gapPercent: number;
  /** Out of reach of the frames that could be sharp there; only a merge knows. */
  outOfReach?: number | undefined;
  /** The gaps one by one, where they are known: pairs of frames with parts of the picture between them. */
  gaps: {
    from: number;
    to: number;
    percent: number;
    /** How far apart the planes of focus are, usual steps, where it is known; see `apartText`. */
    steps?: number;
  }[];
  firstNumber: number;
  lastNumber: number;
  direction: Direction;
  /** Travel still to go beyond the ends, usual steps, where it is known. */
  missingBefore?: number | undefined;
  missingAfter?: number | undefined;
  /** Half width of the usual focus curve, usual steps, where it is known: a step that it bridges leaves no gap. */
  widthSteps?: number | undefined;
  /** Step without gaps as a part of the present one, where it is known. */
  neededStepPart?: number | undefined;
  /** Nominal travel from the first frame to the last, usual steps, where it is known. */
  spanSteps?: number | undefined;
}

/** Shares below this are the rule at borders and in shadows, percent. */
export const worthAdvicePercent = 1;
/** From this share on the picture is spoilt, percent. */
const spoiltPercent = 2;
/** Gaps at this many pairs or more are the step's fault, not that of single travels. */
const manyGapsPart = 1 / 3;

/**
 * Judges whether stack and steps cover the subject. The one place for it: `check` gives it what reduced frames show, the
 * report of a merge what the full-size maps show.
 */
export function coverageFindings(shares: CoverageShares): Finding[] {
  const { firstNumber, lastNumber } = shares;
  return [
    ...shortEnd(shares, 'first', shares.beforeFirst, firstNumber, shares.missingBefore),
    ...shortEnd(shares, 'last', shares.afterLast, lastNumber, shares.missingAfter),
    ...gapFindings(shares),
    ...outOfReachFindings(shares),
    ...(shares.noDetail >= 99 ? [withoutDetail(shares.noDetail)] : []),
  ];
}

function shortEnd(
  shares: CoverageShares,
  end: 'first' | 'last',
  percent: number,
  number: number,
  missing: number | undefined,
): Finding[] {
  if (percent < worthAdvicePercent) return [];
  // A stack of unknown direction is told as if it ran from near to far, with its frame named.
  const isFront = (shares.direction === 'far-to-near') === (end === 'last');
  const side = isFront ? 'in front of' : 'behind';
  const count = missing === undefined ? undefined : Math.max(1, Math.ceil(missing));
  const frames = count === undefined ? 'some frames' : `at least ${count} frame${count === 1 ? '' : 's'}`;
  return [
    {
      kind: isFront ? 'too-short-in-front' : 'too-short-behind',
      rank: percent >= spoiltPercent ? 'spoils' : 'flaw',
      frames: [number],
      message: `${percentText(percent)} of the picture lies ${side} the plane of focus of the ${end} frame (${number}) and is sharp in no frame: the stack is too short ${isFront ? 'in front' : 'behind'}.`,
      advice: `${end === 'first' ? 'Begin' : 'Go on'} ${isFront ? 'nearer to the camera' : 'farther from the camera'}: add ${frames} ${end === 'first' ? 'before the first' : 'after the last'}${travelBeyond(shares, end, count)}.`,
    },
  ];
}

/** How far the rail has to go on beyond an end, and where that is. */
function travelBeyond(shares: CoverageShares, end: 'first' | 'last', count: number | undefined): string {
  const { stepMm, spanSteps } = shares;
  if (stepMm === undefined || count === undefined) return '';
  const travel = `${travelText(count * stepMm, shares)} of travel`;
  return end === 'first' || spanSteps === undefined
    ? `, ${travel}`
    : `, ${travel}, to ${travelText((spanSteps + count) * stepMm, shares)} from the first`;
}

function gapFindings(shares: CoverageShares): Finding[] {
  const { gaps, gapPercent: percent, firstNumber, lastNumber, neededStepPart, stepMm } = shares;
  if (percent < worthAdvicePercent) return [];
  const pairs = Math.max(1, lastNumber - firstNumber);
  const wide = gaps.filter((gap) => gap.percent >= worthAdvicePercent / 2 && leavesGap(gap.steps, shares));
  const mayBeWide = gaps.length > 0 ? wide.length > 0 : leavesGap(undefined, shares);
  if (!mayBeWide) return [scattered(percent)];
  const everywhere = gaps.length === 0 || (wide.length > 1 && wide.length >= manyGapsPart * pairs);
  const rank = percent >= spoiltPercent ? 'spoils' : 'flaw';
  if (everywhere) {
    const part = neededStepPart === undefined ? undefined : { neededStepPart };
    const neededMm =
      part && stepMm !== undefined ? { neededStepMm: part.neededStepPart * stepMm } : undefined;
    const needed =
      neededMm !== undefined
        ? `Use a step of ${travelText(neededMm.neededStepMm, shares)} instead of ${travelText(stepMm as number, shares)}.`
        : part !== undefined
          ? `Use ${shortNumber(part.neededStepPart, 2)} of the present step: about ${Math.ceil(1 / part.neededStepPart)} frames where there is one now.`
          : 'Use a smaller step.';
    return [
      {
        kind: 'too-coarse-steps',
        rank,
        frames: [],
        message: `The steps are too coarse: ${percentText(percent)} of the picture lies between two frames whose planes of focus are too far apart, and is sharp in neither.`,
        advice: needed,
        ...part,
        ...neededMm,
      },
    ];
  }
  return wide.map(({ from, to, percent: own, steps }) => ({
    kind: 'missed-step' as const,
    rank,
    frames: [from, to],
    message: `${percentText(own)} of the picture lies between frames ${from} and ${to}, whose planes of focus are ${apartText(steps)}, and is sharp in neither.`,
    advice: `Shoot the stack again from frame ${from} on, or add ${framesToAdd(steps)} between ${from} and ${to}.`,
  }));
}

function framesToAdd(steps: number | undefined): string {
  const count = steps === undefined ? 1 : Math.max(1, Math.round(steps) - 1);
  return count === 1 ? 'a frame' : `${count} frames`;
}

/** Shares below this are not worth a word, percent. */
const leastOutOfReachPercent = 0.1;

/** What the rim of a merge that keeps the anchor's whole framing is worth. */
export function outOfReachFindings({ outOfReach = 0 }: Pick<CoverageShares, 'outOfReach'>): Finding[] {
  if (outOfReach < leastOutOfReachPercent) return [];
  return [
    {
      kind: 'out-of-reach',
      rank: outOfReach >= worthAdvicePercent ? 'flaw' : 'note',
      frames: [],
      message: `${percentText(outOfReach)} of the picture, along its edges, is out of reach of the frames that could be sharp there: it is blurred and has no depth.`,
      advice: `Merge with ${optionName('crop')} common to cut it off.`,
    },
  ];
}

/** Hairs and rims cut focus curves short, so that a merge finds gaps there whatever the steps: those are not the step's fault. */
function leavesGap(steps = 1, { widthSteps }: CoverageShares): boolean {
  if (widthSteps === undefined || steps >= longestPlainStep) return true;
  return -fallAt(steps / 2, widthSteps) > sureGapFall;
}

/** A step of just the bounds of `frame-places.ts` may be longer. */
function apartText(steps: number | undefined): string {
  if (steps === undefined || steps < longestPlainStep) return 'too far apart';
  return steps === longestMeasuredStep || steps >= longestStep
    ? `at least ${steps} times as far apart as usual`
    : `about ${shortNumber(steps, 1)} times as far apart as usual`;
}

function scattered(percent: number): Finding {
  return {
    kind: 'too-coarse-steps',
    rank: 'flaw',
    frames: [],
    message: `${percentText(percent)} of the picture, in small places here and there, is sharpest between two frames and not quite sharp in either.`,
    advice: 'A smaller step leaves fewer such places; elsewhere the steps suffice.',
  };
}

function withoutDetail(percent: number): Finding {
  return {
    kind: 'no-detail',
    rank: 'spoils',
    frames: [],
    message: `${percentText(percent)} of the picture shows no detail that comes into focus and goes out again: there is nothing to judge focus by.`,
    advice: 'See whether this is a focus stack, and whether lens cap, focus and light were right.',
  };
}
