import { median } from '../image/median.js';
import type { CentredMotion } from './centred-motion.js';
import type { PairLink } from './solve-stack.js';
import type { SymmetricBand } from './symmetric-band.js';

/**
 * Spread of the steps of a whole stack, as a share of the typical one: at most and at least so much, at most where too few
 * pairs tell; and at least so many px at the radius.
 */
const mostSpread = 0.15;
const leastSpread = 0.03;
const leastSpreadPx = 0.02;
/** What the spread of the surest steps is multiplied by for the others. */
const spreadMargin = 1.5;
/** Fewest changes from one step to the next that tell the spread. */
const fewestChanges = 8;
/** Irregularity of a step against the ones beside it, as a multiple of the spread; at least so many px at the radius. */
const bendShare = 2;
const leastBendPx = 0.05;
/** How far the typical step may be from the middle one of the pairs, as a share of it. */
const startSpread = 0.5;
/** A step is a jump when it exceeds those around by so many spreads, such a share of the typical step, and so many px. */
const jumpLimit = 4;
const jumpShare = 0.6;
const leastJumpPx = 0.4;
/** How many steps on either side are those around. */
const jumpNeighbours = 2;

/**
 * Several pairs in a row drift when they all are off to one side by so many spreads, and by less than such a share of the
 * typical step: a rail that is moved by another step is off by more.
 */
const driftLimit = 3;
const mostDrift = 0.4;
/** How many pairs on either side are those in a row. */
const driftNeighbours = 2;
/** No pair counts for more than this in the step that drifting ones are told by, 1/px^2. */
const surestWeight = 1000;
/** How far a drifting pair's scale may be wrong, as a multiple of what it is off by. */
const driftFactor = 2;

/** Known frames and their 1/scale. */
function inverseScales(motions: readonly (CentredMotion | undefined)[]): { k: number; inverse: number }[] {
  return motions.flatMap((m, k) => (m ? [{ k, inverse: 1 / Math.hypot(m.a, m.b) }] : []));
}

interface Step {
  /** The frames that it lies between. */
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

/** The middle one of the steps of 1/scale from frame to frame. */
export function typicalStep(motions: readonly (CentredMotion | undefined)[]): number {
  return median(Float64Array.from(stepsOf(motions), ({ size }) => size));
}

/**
 * How much the steps of the rail differ from each other, as a share of the typical one, from how they change from one
 * pair to the next where the pairs are surest: of a motor's even steps little is left open where the pairs tell less. What
 * pairs err by changes slowly along the stack, so that it hardly shows in the changes.
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
  if (changes.length < fewestChanges) return mostSpread;
  changes.sort((p, q) => q.certainty - p.certainty);
  const surest = changes.slice(0, Math.ceil(changes.length / 2));
  const typicalPx = Math.abs(median(Float64Array.from(steps.values(), ({ px }) => px)));
  // A change is the difference of two steps: sqrt(2) times as scattered.
  const scatterPx = (1.4826 / Math.SQRT2) * median(Float64Array.from(surest, ({ px }) => px));
  if (typicalPx === 0) return mostSpread;
  return Math.min(mostSpread, Math.max(leastSpread, (spreadMargin * scatterPx) / typicalPx));
}

/**
 * How far the scale of each link may be wrong, px at the radius, because it and its neighbours differ from the steps of the
 * surest pairs, which have proved even (`spread`): a rail does not change its pace a little for a while, but rims that
 * come into focus all around a subject, and nothing else, seem to grow.
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
    to - from === 1 ? [{ from, px: stepsPx[i], weight: Math.min(informations[i][0], surestWeight) }] : [],
  );
  const typicalPx = middleStepPx(neighbours);
  const limitPx = driftLimit * spread * Math.abs(typicalPx);
  const offPx = new Map(neighbours.map(({ from, px }) => [from, px - typicalPx]));
  return links.map(({ from, to }, i) => {
    const off = stepsPx[i] - typicalPx;
    const row = Float64Array.from(
      Array.from({ length: 2 * driftNeighbours + 1 }, (_, n) => offPx.get(from + n - driftNeighbours)).filter(
        (value) => value !== undefined,
      ),
    );
    const rowOff = Math.sign(off) * median(row);
    const drifts =
      Math.abs(off) > limitPx && rowOff > limitPx / 2 && Math.abs(off) < mostDrift * Math.abs(typicalPx);
    return drifts ? driftFactor * Math.abs(off) * (to - from) : 0;
  });
}

/** The step in the middle, each counting by its weight. */
function middleStepPx(steps: readonly { px: number; weight: number }[]): number {
  const sorted = steps.toSorted((p, q) => p.px - q.px);
  let left = steps.reduce((sum, { weight }) => sum + weight, 0) / 2;
  for (const { px, weight } of sorted) {
    left -= weight;
    if (left <= 0) return px;
  }
  return 0;
}

/**
 * Where frames are missing: by the frame before, by how many typical steps the step to the next one exceeds those around
 * it. Such a step stands alone among even ones; of the first and the last that cannot be told. A run of frames that all
 * seem to drift is none, for that is what blur suggests.
 */
export function findJumps(
  motions: readonly (CentredMotion | undefined)[],
  radiusPx: number,
  spread = mostSpread,
): Map<number, number> {
  const steps = stepsOf(motions);
  const typical = typicalStep(motions);
  const limit = Math.max(jumpShare, jumpLimit * spread);
  const jumps = new Map<number, number>();
  if (typical === 0) return jumps;
  steps.forEach(({ from, size }, i) => {
    if (i === 0 || i === steps.length - 1) return;
    const around = steps.slice(Math.max(0, i - jumpNeighbours), i + jumpNeighbours + 1);
    const growth = size - median(Float64Array.from(around, (step) => step.size));
    const excess = growth / typical;
    if (excess > limit && Math.abs(growth) * radiusPx > leastJumpPx) jumps.set(from, excess);
  });
  return jumps;
}

/** The spread of the step from each frame to the next one, by the frame's index: a jump is let go. */
export function spreadsOfSteps(
  motions: readonly (CentredMotion | undefined)[],
  radiusPx: number,
  spread: number,
): Float64Array {
  const spreads = new Float64Array(motions.length).fill(spread);
  for (const [from, excess] of findJumps(motions, radiusPx, spread)) spreads[from] = excess;
  return spreads;
}

/** On a rail 1/scale is a line in the position, so neighbouring steps in scale are alike. */
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
    const spreadPx = Math.max(leastBendPx, bendShare * spread * typical * radiusPx);
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

/** The equations' last unknown, the step of the whole stack: its column, its own element and its right side. */
export interface StepBorder {
  column: Float64Array;
  diagonal: number;
  right: number;
}

/**
 * Steps are alike over the whole stack too, within their spreads of one step: without it a run of frames that show
 * little sharp would keep whatever drift their blur suggests, each step like the one before. That one step is an
 * unknown like the others. Were it held while the frames are solved for, it would hardly move from where it started,
 * for where little is sharp the evenness outweighs the pairs, and all scales would drift with its error.
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
  const startPx = Math.max(leastSpreadPx, startSpread * Math.abs(startStep) * radiusPx);
  const border: StepBorder = {
    column: new Float64Array(normal.size),
    diagonal: 1 / startPx ** 2,
    right: ((startStep - typical) * radiusPx) / startPx ** 2,
  };
  for (let i = 0; i + 1 < known.length; i++) {
    const here = known[i];
    const after = known[i + 1];
    const spreadPx = Math.max(leastSpreadPx, spreads[here.k] * Math.abs(typical) * radiusPx);
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
