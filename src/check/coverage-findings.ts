import { worthAdvicePercent } from '../result/coverage.js';
import type { Finding } from '../result/finding.js';
import { percentText, shortNumber } from '../result/report/numbers.js';
import type { Direction } from '../stack/focus-direction.js';
import { pairsText } from './finding-text.js';
import { type RailScale, travelText } from './rail-scale.js';

/** Shares of the picture that are sharp in no frame, by tiles of the reduced frames. */
export interface CoverageShares extends RailScale {
  /** Share of the picture by class, percent; see `coverageClasses`. */
  beforeFirst: number;
  afterLast: number;
  noDetail: number;
  gapPercent: number;
  /** The gaps one by one: pairs of frames with parts of the picture between them. */
  gaps: { from: number; to: number; percent: number }[];
  firstNumber: number;
  lastNumber: number;
  direction: Direction;
  /** Missing travel beyond the ends, usual steps, where it is known. */
  missingBefore?: number | undefined;
  missingAfter?: number | undefined;
  /** Step without gaps as a fraction of the present one, where it is known. */
  neededStepPart?: number | undefined;
  /** Nominal travel from the first frame to the last, usual steps, where it is known. */
  spanSteps?: number | undefined;
}

/** Share from which the picture is spoilt, percent. */
const minSpoiltPercent = 2;
/** Share of the pairs of frames from which gaps are caused by the step, not by single missed steps. */
const manyGapsShare = 1 / 3;
/** Pairs with less than this share of the largest gap may be outliers of the fit and are not named. */
const minNamedGapRatio = 1 / 4;

/** Judges whether stack and steps cover the subject. */
export function coverageFindings(shares: CoverageShares): Finding[] {
  const { firstNumber, lastNumber } = shares;
  return [
    ...shortEnd(shares, 'first', shares.beforeFirst, firstNumber, shares.missingBefore),
    ...shortEnd(shares, 'last', shares.afterLast, lastNumber, shares.missingAfter),
    ...gapFindings(shares),
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
  // A stack of unknown direction is described as if it ran from near to far, with its frame named.
  const isFront = (shares.direction === 'far-to-near') === (end === 'last');
  const side = isFront ? 'in front of' : 'behind';
  const count = missing === undefined ? undefined : Math.max(1, Math.ceil(missing));
  const frames = count === undefined ? 'some frames' : `at least ${count} frame${count === 1 ? '' : 's'}`;
  return [
    {
      kind: isFront ? 'too-short-in-front' : 'too-short-behind',
      rank: percent >= minSpoiltPercent ? 'spoils' : 'flaw',
      frames: [number],
      message: `${percentText(percent)} of the picture lies ${side} the plane of focus of the ${end} frame (${number}) and is sharp in no frame: the stack is too short ${isFront ? 'in front' : 'behind'}.`,
      advice: `${end === 'first' ? 'Begin' : 'Go on'} ${isFront ? 'nearer to the camera' : 'farther from the camera'}: add ${frames} ${end === 'first' ? 'before the first' : 'after the last'}${travelBeyond(shares, end, count)}.`,
    },
  ];
}

/** Missing travel of the rail beyond an end, and its position. */
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
  if (percent < worthAdvicePercent || gaps.length === 0) return [];
  const pairCount = Math.max(1, lastNumber - firstNumber);
  const largest = gaps.reduce((most, gap) => Math.max(most, gap.percent), 0);
  const named = gaps.filter((gap) => gap.percent >= minNamedGapRatio * largest);
  const everywhere = named.length > 1 && named.length >= manyGapsShare * pairCount;
  const rank = percent >= minSpoiltPercent ? 'spoils' : 'flaw';
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
  const listed = named.map(({ from, to }): [number, number] => [from, to]);
  const first = listed[0][0];
  const isOne = listed.length === 1;
  return [
    {
      kind: 'missed-step',
      rank,
      frames: [...new Set(listed.flat())],
      message: isOne
        ? `${percentText(percent)} of the picture lies between frames ${pairsText(listed)}, whose planes of focus are too far apart, and is sharp in neither.`
        : `${percentText(percent)} of the picture lies in ${listed.length} gaps between frames whose planes of focus are too far apart, and is sharp in none: between ${pairsText(listed)}.`,
      advice: isOne
        ? `Shoot the stack again from frame ${first} on, or add a frame between ${pairsText(listed)}.`
        : `Shoot the stack again from frame ${first} on with even steps, or add a frame in each gap.`,
    },
  ];
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
