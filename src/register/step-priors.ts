import { median, sigmaPerMad } from '../image/median.js';
import type { CentredMotion } from './centred-motion.js';
import type { PairLink } from './solve-stack.js';
import type { SymmetricBand } from './symmetric-band.js';

/**
 * Bounds on the relative standard deviation of the steps of a stack; the upper one where there are too few pairs to
 * estimate it; and its lower bound in px at the radius.
 */
const maxSpread = 0.15;
const minSpread = 0.03;
const minSpreadPx = 0.02;
/** Safety factor from the spread of the most certain steps to that of all. */
const spreadMargin = 1.5;
/** Minimum number of changes from one step to the next to estimate the spread. */
const minChanges = 8;
/**
 * Prior on the difference of a step from its neighbours: multiple of the spread, and lower bound in px at the radius.
 */
const bendSpreads = 2;
const minBendPx = 0.05;
/** Prior on the typical step about the median of the pairs: relative standard deviation. */
const startSpread = 0.5;
/**
 * A step is a jump when it exceeds its neighbours by this many spreads, this share of the typical step, and this many
 * px.
 */
const minJumpSpreads = 4;
const minJumpShare = 0.6;
const minJumpPx = 0.4;
/** Number of neighbours on each side. */
const jumpNeighbours = 2;

/**
 * A run of pairs has a trend in its residuals when all deviate in one direction by this many spreads, and by less than
 * this share of the typical step: a rail that is moved by another step deviates by more.
 */
const minTrendSpreads = 3;
const maxTrendShare = 0.4;
/** Number of pairs of the run on each side. */
const trendNeighbours = 2;
/** Maximum weight of a pair in the typical step that such runs are compared with, 1/px^2. */
const maxStepWeight = 1000;
/** Uncertainty of the scale of such a pair, as a multiple of its deviation. */
const trendSigmaRatio = 2;

/** Known frames and their 1/scale. */
function inverseScales(motions: readonly (CentredMotion | undefined)[]): { k: number; inverse: number }[] {
  return motions.flatMap((m, k) => (m ? [{ k, inverse: 1 / Math.hypot(m.a, m.b) }] : []));
}

interface Step {
  /** The frames on either side. */
  from: number;
  to: number;
  /** Growth of 1/scale from frame to frame. */
  size: number;
}

function stepsOf(motions: readonly (CentredMotion | undefined)[]): Step[] {
  const known = inverseScales(motions);
  return known.slice(1).map(({ k, inverse }, i) => ({
    from: known[i].k,
    to: k,
    size: (inverse - known[i].inverse) / (k - known[i].k),
  }));
}

/** The median step of 1/scale from frame to frame. */
export function typicalStep(motions: readonly (CentredMotion | undefined)[]): number {
  return median(Float64Array.from(stepsOf(motions), ({ size }) => size));
}

/**
 * Relative standard deviation of the steps of the rail, from the changes between successive steps of the most certain
 * pairs: the even steps of a motor then constrain the less certain pairs strongly. Systematic errors of the pairs
 * change slowly along the stack, so that they hardly affect these differences.
 */
export function spreadOfSteps(
  links: readonly PairLink[],
  informations: readonly Float64Array[],
  radiusPx: number,
): number {
  const steps = new Map<number, { px: number; certainty: number }>();
  links.forEach(({ from, to, motion }, i) => {
    if (to - from > 1) return;
    steps.set(from, {
      px: radiusPx * (Math.hypot(motion.a, motion.b) - 1),
      certainty: informations[i][0],
    });
  });
  const changes = [...steps].flatMap(([k, here]) => {
    const after = steps.get(k + 1);
    if (!after) return [];
    return [{ px: Math.abs(after.px - here.px), certainty: Math.min(after.certainty, here.certainty) }];
  });
  if (changes.length < minChanges) return maxSpread;
  changes.sort((p, q) => q.certainty - p.certainty);
  const mostCertain = changes.slice(0, Math.ceil(changes.length / 2));
  const typicalPx = Math.abs(median(Float64Array.from(steps.values(), ({ px }) => px)));
  // A change is the difference of two steps: sqrt(2) times as scattered.
  const scatterPx = (sigmaPerMad / Math.SQRT2) * median(Float64Array.from(mostCertain, ({ px }) => px));
  if (typicalPx === 0) return maxSpread;
  return Math.min(maxSpread, Math.max(minSpread, (spreadMargin * scatterPx) / typicalPx));
}

/**
 * Additional uncertainty of the scale of each link, px at the radius, where it and its neighbours deviate from the
 * steps of the most certain pairs, which have proved even (`spread`): a rail does not change its step slightly for a
 * while, but a subject whose rims alone come into focus seems to grow.
 */
export function driftDoubts(
  links: readonly PairLink[],
  informations: readonly Float64Array[],
  radiusPx: number,
  spread: number,
): number[] {
  const stepsPx = links.map(
    ({ from, to, motion }) => (radiusPx * (Math.hypot(motion.a, motion.b) - 1)) / (to - from),
  );
  const neighbours = links.flatMap(({ from, to }, i) =>
    to - from === 1 ? [{ from, px: stepsPx[i], weight: Math.min(informations[i][0], maxStepWeight) }] : [],
  );
  const typicalPx = weightedMedianStepPx(neighbours);
  const limitPx = minTrendSpreads * spread * Math.abs(typicalPx);
  const offPx = new Map(neighbours.map(({ from, px }) => [from, px - typicalPx]));
  return links.map(({ from, to }, i) => {
    const off = stepsPx[i] - typicalPx;
    const row = Float64Array.from(
      Array.from({ length: 2 * trendNeighbours + 1 }, (_, n) => offPx.get(from + n - trendNeighbours)).filter(
        (value) => value !== undefined,
      ),
    );
    const rowOff = Math.sign(off) * median(row);
    const hasTrend =
      Math.abs(off) > limitPx && rowOff > limitPx / 2 && Math.abs(off) < maxTrendShare * Math.abs(typicalPx);
    return hasTrend ? trendSigmaRatio * Math.abs(off) * (to - from) : 0;
  });
}

/** The weighted median of the steps. */
function weightedMedianStepPx(steps: readonly { px: number; weight: number }[]): number {
  const sorted = steps.toSorted((p, q) => p.px - q.px);
  let left = steps.reduce((sum, { weight }) => sum + weight, 0) / 2;
  for (const { px, weight } of sorted) {
    left -= weight;
    if (left <= 0) return px;
  }
  return 0;
}

/**
 * Where frames are missing: for the frame before each gap, the excess of the step over its neighbours in typical steps.
 * Such a step is isolated among even ones; the first and the last step cannot be tested. A run of frames that all seem
 * to drift is no jump, as blur causes the same.
 */
export function findJumps(
  motions: readonly (CentredMotion | undefined)[],
  radiusPx: number,
  spread = maxSpread,
): Map<number, number> {
  const steps = stepsOf(motions);
  const typical = typicalStep(motions);
  const limit = Math.max(minJumpShare, minJumpSpreads * spread);
  const jumps = new Map<number, number>();
  if (typical === 0) return jumps;
  steps.forEach(({ from, size }, i) => {
    if (i === 0 || i === steps.length - 1) return;
    const around = steps.slice(Math.max(0, i - jumpNeighbours), i + jumpNeighbours + 1);
    const growth = size - median(Float64Array.from(around, (step) => step.size));
    const excess = growth / typical;
    if (excess > limit && Math.abs(growth) * radiusPx > minJumpPx) jumps.set(from, excess);
  });
  return jumps;
}

/** The spread of the step from each frame to the next one, by the frame's index: unconstrained at a jump. */
export function spreadsOfSteps(
  motions: readonly (CentredMotion | undefined)[],
  radiusPx: number,
  spread: number,
): Float64Array {
  const spreads = new Float64Array(motions.length).fill(spread);
  for (const [from, excess] of findJumps(motions, radiusPx, spread)) spreads[from] = excess;
  return spreads;
}

/** Prior that neighbouring steps in scale are equal, as on a rail 1/scale is linear in the position. */
export function addStepPrior(
  normal: SymmetricBand,
  right: Float64Array,
  motions: readonly (CentredMotion | undefined)[],
  radiusPx: number,
  spreads: Float64Array,
): void {
  const known = inverseScales(motions);
  const typical = median(Float64Array.from(stepsOf(motions), (step) => Math.abs(step.size)));
  for (let i = 1; i + 1 < known.length; i++) {
    const before = known[i - 1];
    const here = known[i];
    const after = known[i + 1];
    const spread = Math.max(spreads[before.k], spreads[here.k]);
    const spreadPx = Math.max(minBendPx, bendSpreads * spread * typical * radiusPx);
    const part = (here.k - before.k) / (after.k - before.k);
    const terms: [number, number][] = [
      [before.k, part - 1],
      [here.k, 1],
      [after.k, -part],
    ];
    const bend = here.inverse - (1 - part) * before.inverse - part * after.inverse;
    const weight = 1 / (spreadPx * spreadPx * (after.k - before.k));
    // 1/scale falls as a grows; close to 1 the derivative is -1.
    for (const [k, factor] of terms) {
      right[4 * k] += weight * factor * bend * radiusPx;
      for (const [other, second] of terms) normal.add(4 * k, 4 * other, weight * factor * second);
    }
  }
}

/** The last unknown of the equations, the step of the whole stack: its column, diagonal element and right side. */
export interface StepBorder {
  column: Float64Array;
  diagonal: number;
  right: number;
}

/**
 * Prior that all steps of the stack equal one common step, within their spreads: without it a run of frames that show
 * little sharp would keep the drift that their blur causes, each step like the one before. The common step is an
 * unknown of the same system. If it were fixed while the frames are solved for, it would hardly move from its start,
 * since where little is sharp the prior outweighs the pairs, and all scales would drift with its error.
 */
export function addEvenSteps(
  normal: SymmetricBand,
  right: Float64Array,
  motions: readonly (CentredMotion | undefined)[],
  radiusPx: number,
  startStep: number,
  spreads: Float64Array,
): StepBorder | undefined {
  const known = inverseScales(motions);
  if (known.length < 3) return undefined;
  const typical = typicalStep(motions);
  const startPx = Math.max(minSpreadPx, startSpread * Math.abs(startStep) * radiusPx);
  const border: StepBorder = {
    column: new Float64Array(normal.size),
    diagonal: 1 / startPx ** 2,
    right: ((startStep - typical) * radiusPx) / startPx ** 2,
  };
  for (let i = 0; i + 1 < known.length; i++) {
    const here = known[i];
    const after = known[i + 1];
    const spreadPx = Math.max(minSpreadPx, spreads[here.k] * Math.abs(typical) * radiusPx);
    const frames = after.k - here.k;
    const weight = 1 / (spreadPx * spreadPx * frames);
    const excess = (after.inverse - here.inverse - typical * frames) * radiusPx;
    right[4 * here.k] -= weight * excess;
    right[4 * after.k] += weight * excess;
    normal.add(4 * here.k, 4 * here.k, weight);
    normal.add(4 * after.k, 4 * after.k, weight);
    normal.add(4 * after.k, 4 * here.k, -weight);
    border.column[4 * here.k] -= weight * frames;
    border.column[4 * after.k] += weight * frames;
    border.diagonal += weight * frames * frames;
    border.right += weight * excess * frames;
  }
  return border;
}
