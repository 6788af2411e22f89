import { median, sigmaPerMad } from '../image/median.js';
import { outlierSigmas } from '../model/constants/model.js';
import { minSigmaPx, stackRounds } from '../model/constants/register.js';
import { type CentredMotion, composeMotions, invertMotion, noMotion } from './centred-motion.js';
import type { MotionFit } from './fit-motion.js';
import { addEvenSteps, type StepBorder, spreadOfSteps, typicalStep } from './step-priors.js';
import { SymmetricBand, solveSymmetric } from './symmetric-band.js';

/** A measured motion from frame `from` to frame `to` (indices of the stack). */
export interface PairLink extends MotionFit {
  from: number;
  to: number;
}

export interface StackSolveOptions {
  frameCount: number;
  /** Index of the frame that stays where it is. */
  anchor: number;
  radiusPx: number;
  free: 'shift' | 'scale' | 'similarity';
  /** Error of any pair that its tiles do not show, px: keeps one pair from ruling its neighbours. */
  minErrorPx: number;
}

export interface StackSolution {
  /** Frame -> anchor; undefined for frames that no chain of pairs joins to the anchor. */
  motions: (CentredMotion | undefined)[];
  /** Per frame: weighted RMS distance of its pairs from the solution at the radius, px; NaN without pairs. */
  residualsPx: number[];
}

/** Which frames hang together with `anchor` through the links. */
export function reachableFrom(anchor: number, frameCount: number, links: readonly PairLink[]): boolean[] {
  const reached = new Array<boolean>(frameCount).fill(false);
  reached[anchor] = true;
  for (let grown = true; grown; ) {
    grown = false;
    for (const { from, to } of links) {
      if (reached[from] === reached[to]) continue;
      reached[from] = reached[to] = true;
      grown = true;
    }
  }
  return reached;
}

/**
 * One least-squares solution for all frames from all pairs, so that errors do not add up along a chain.
 * Unknown are a_k + i b_k and the shifts of every frame -> anchor; a pair predicts the quotient of two of them.
 * Solved by Gauss-Newton on the exact composition; pairs that contradict the rest lose weight (Cauchy).
 */
export function solveStack(links: readonly PairLink[], options: StackSolveOptions): StackSolution {
  const { frameCount, anchor, radiusPx, free, minErrorPx } = options;
  const reached = reachableFrom(anchor, frameCount, links);
  const used = links.filter(({ from }) => reached[from]);
  const motions = chainStart(used, frameCount, anchor, free);
  const startStep = typicalStep(motions);
  const rolls = rollsOf(motions, radiusPx);
  const informations = used.map(({ information }) => addError(information, minErrorPx));
  const spread = spreadOfSteps(used, informations, radiusPx);
  const weights = new Float64Array(used.length).fill(1);
  const halfBandwidth = 4 * (widestCoupling(used, motions) + 1) - 1;
  const size = 4 * frameCount;
  for (let round = 0; round < stackRounds; round++) {
    const normal = new SymmetricBand(size, halfBandwidth);
    const right = new Float64Array(size);
    for (const [i, link] of used.entries()) {
      addLink(normal, right, link, informations[i], weights[i], motions, radiusPx);
    }
    let even: StepBorder | undefined;
    if (free !== 'shift') {
      even = addEvenSteps(normal, right, motions, radiusPx, startStep, spread, minErrorPx);
    }
    if (free === 'similarity') addRollPrior(normal, right, motions, radiusPx, rolls);
    pin(normal, right, even?.column, motions, anchor, free);
    const step = solveBordered(normal, right, even);
    if (!step) break;
    motions.forEach((m, k) => {
      if (!m) return;
      m.a += step[4 * k] / radiusPx;
      m.b += step[4 * k + 1] / radiusPx;
      m.x += step[4 * k + 2];
      m.y += step[4 * k + 3];
    });
    updateWeights(used, informations, weights, motions, radiusPx);
  }
  return { motions, residualsPx: frameResiduals(used, weights, motions, frameCount, radiusPx) };
}

/**
 * Rolls scatter about a common one as those of the other frames do. Where a frame is well measured that is nothing against its
 * pairs, and where next to nothing is sharp it keeps the roll from running away with the errors of a chain of pairs.
 */
function addRollPrior(
  normal: SymmetricBand,
  right: Float64Array,
  motions: readonly (CentredMotion | undefined)[],
  radiusPx: number,
  { middlePx, scatterPx }: Rolls,
): void {
  motions.forEach((m, k) => {
    if (!m) return;
    const offPx = m.b * radiusPx - middlePx;
    // Cauchy's weight: a camera that was bumped has turned once and by much.
    const weight = 1 / (Math.max(minSigmaPx, outlierSigmas * scatterPx) ** 2 + offPx ** 2);
    normal.add(4 * k + 1, 4 * k + 1, weight);
    right[4 * k + 1] -= weight * offPx;
  });
}

/** Middle and scatter of the frames' rolls, px at the radius. */
interface Rolls {
  middlePx: number;
  scatterPx: number;
}

function rollsOf(motions: readonly (CentredMotion | undefined)[], radiusPx: number): Rolls {
  const rolls = Float64Array.from(motions.flatMap((m) => (m ? [m.b * radiusPx] : [])));
  const middlePx = median(rolls.slice());
  return { middlePx, scatterPx: sigmaPerMad * median(rolls.map((roll) => Math.abs(roll - middlePx))) };
}

/** How many frames apart an equation may couple: links, and the prior over two reached frames in a row. */
function widestCoupling(links: readonly PairLink[], motions: readonly (CentredMotion | undefined)[]): number {
  const known = motions.flatMap((m, k) => (m ? [k] : []));
  const steps = known.slice(1).map((k, i) => k - known[i]);
  return Math.max(1, ...steps, ...links.map(({ from, to }) => Math.abs(from - to)));
}

/** Every reached frame's start by walking outward from the anchor over the most certain links. */
function chainStart(
  links: readonly PairLink[],
  frameCount: number,
  anchor: number,
  free: StackSolveOptions['free'],
): (CentredMotion | undefined)[] {
  const motions = new Array<CentredMotion | undefined>(frameCount).fill(undefined);
  motions[anchor] = { ...noMotion };
  const byCertainty = [...links].sort((p, q) => certainty(q) - certainty(p));
  for (;;) {
    const link = byCertainty.find(({ from, to }) => !motions[from] !== !motions[to]);
    if (!link) return motions;
    const { from, to } = link;
    const motion = restrict(link.motion, free);
    const known = motions[to];
    if (known) motions[from] = composeMotions(known, motion);
    else motions[to] = composeMotions(motions[from] as CentredMotion, invertMotion(motion));
  }
}

function certainty({ information }: PairLink): number {
  return Math.min(information[0], information[10], information[15]);
}

function restrict(m: CentredMotion, free: StackSolveOptions['free']): CentredMotion {
  if (free === 'similarity') return m;
  return { ...m, a: free === 'shift' ? 1 : Math.hypot(m.a, m.b), b: 0 };
}

/**
 * Information about (a, b, x, y) with an independent error, px, of each of the four added to the covariance. (C + F)^-1 =
 * (I + L F)^-1 L for information L = C^-1 and errors F = sigma^2 I: no inverse of L itself is needed.
 */
function addError(information: Float64Array, sigmaPx: number): Float64Array {
  const variance = Math.max(sigmaPx, minSigmaPx) ** 2;
  const system = information.map((value, i) => value * variance + (i % 5 === 0 ? 1 : 0));
  const out = new Float64Array(16);
  for (let col = 0; col < 4; col++) {
    const column = Float64Array.from({ length: 4 }, (_, row) => information[row * 4 + col]);
    const solved = solveSymmetric(system, column, 4);
    for (let row = 0; row < 4; row++) out[row * 4 + col] = solved?.[row] ?? 0;
  }
  return out;
}

/** Measured minus predicted motion from -> to, with a and b in pixels at the radius. */
function mismatch(
  link: PairLink,
  motions: readonly (CentredMotion | undefined)[],
  radiusPx: number,
): number[] {
  const predicted = composeMotions(
    invertMotion(motions[link.to] as CentredMotion),
    motions[link.from] as CentredMotion,
  );
  const { motion } = link;
  return [
    (motion.a - predicted.a) * radiusPx,
    (motion.b - predicted.b) * radiusPx,
    motion.x - predicted.x,
    motion.y - predicted.y,
  ];
}

/**
 * With T = (A, B) as complex scale and shift, the prediction is A_from / A_to and (B_from - B_to) / A_to.
 * Its derivatives are complex, so each block is [re, -im; im, re].
 */
function addLink(
  normal: SymmetricBand,
  right: Float64Array,
  link: PairLink,
  information: Float64Array,
  weight: number,
  motions: readonly (CentredMotion | undefined)[],
  radiusPx: number,
): void {
  const error = mismatch(link, motions, radiusPx);
  const to = motions[link.to] as CentredMotion;
  const inverse = invertMotion({ ...to, x: 0, y: 0 });
  const predicted = composeMotions(invertMotion(to), motions[link.from] as CentredMotion);
  const times = (a: number, b: number) => [inverse.a * a - inverse.b * b, inverse.a * b + inverse.b * a];
  const [scaleA, scaleB] = times(predicted.a, predicted.b);
  const [shiftA, shiftB] = times(predicted.x, predicted.y);
  // Rows: a, b (px at the radius), x, y. Columns: from's four, then to's four.
  const jacobian = new Float64Array(32);
  const block = (row: number, col: number, re: number, im: number) => {
    jacobian[row * 8 + col] = re;
    jacobian[row * 8 + col + 1] = -im;
    jacobian[(row + 1) * 8 + col] = im;
    jacobian[(row + 1) * 8 + col + 1] = re;
  };
  block(0, 0, inverse.a, inverse.b);
  block(2, 2, inverse.a, inverse.b);
  block(0, 4, -scaleA, -scaleB);
  block(2, 4, -shiftA / radiusPx, -shiftB / radiusPx);
  block(2, 6, -inverse.a, -inverse.b);
  const index = (col: number) => (col < 4 ? 4 * link.from + col : 4 * link.to + col - 4);
  for (let col = 0; col < 8; col++) {
    const weighted = [0, 1, 2, 3].map((row) => {
      let sum = 0;
      for (let k = 0; k < 4; k++) sum += information[row * 4 + k] * jacobian[k * 8 + col];
      return weight * sum;
    });
    right[index(col)] += weighted.reduce((sum, value, row) => sum + value * error[row], 0);
    for (let other = 0; other < 8; other++) {
      let sum = 0;
      for (let row = 0; row < 4; row++) sum += weighted[row] * jacobian[row * 8 + other];
      normal.add(index(other), index(col), sum);
    }
  }
}

/** Solves the banded system, with the border's unknown eliminated by its Schur complement. */
function solveBordered(
  normal: SymmetricBand,
  right: Float64Array,
  border: StepBorder | undefined,
): Float64Array | undefined {
  const step = normal.solve(right);
  const response = border && normal.solve(border.column);
  if (!step || !border || !response) return step;
  const inner = (p: Float64Array, q: Float64Array) => p.reduce((sum, value, i) => sum + value * q[i], 0);
  const stiffness = border.diagonal - inner(border.column, response);
  if (!(stiffness > 1e-9 * border.diagonal)) return step;
  const last = (border.right - inner(border.column, step)) / stiffness;
  return step.map((value, i) => value - last * response[i]);
}

/** Holds the anchor, unreached frames and what the model does not free. */
function pin(
  normal: SymmetricBand,
  right: Float64Array,
  column: Float64Array | undefined,
  motions: readonly (CentredMotion | undefined)[],
  anchor: number,
  free: StackSolveOptions['free'],
): void {
  motions.forEach((m, k) => {
    for (let part = 0; part < 4; part++) {
      const isFixed =
        !m || k === anchor || (part === 1 && free !== 'similarity') || (part === 0 && free === 'shift');
      if (!isFixed) continue;
      const index = 4 * k + part;
      normal.pin(index);
      right[index] = 0;
      if (column) column[index] = 0;
    }
  });
}

function updateWeights(
  links: readonly PairLink[],
  informations: readonly Float64Array[],
  weights: Float64Array,
  motions: readonly (CentredMotion | undefined)[],
  radiusPx: number,
): void {
  const spread = Float64Array.from(links, (link, i) => {
    const e = mismatch(link, motions, radiusPx);
    let square = 0;
    for (let row = 0; row < 4; row++) {
      for (let col = 0; col < 4; col++) square += e[row] * informations[i][row * 4 + col] * e[col];
    }
    return Math.max(0, square) / 4;
  });
  const typical = Math.max(0.25, median(Float64Array.from(spread)));
  for (let i = 0; i < weights.length; i++) weights[i] = 1 / (1 + spread[i] / (4 * typical));
}

function frameResiduals(
  links: readonly PairLink[],
  weights: Float64Array,
  motions: readonly (CentredMotion | undefined)[],
  frameCount: number,
  radiusPx: number,
): number[] {
  const squares = new Float64Array(frameCount);
  const totals = new Float64Array(frameCount);
  links.forEach((link, i) => {
    const [a, b, x, y] = mismatch(link, motions, radiusPx);
    // Mean square over the frame's corners: the cross terms cancel.
    const square = a * a + b * b + x * x + y * y;
    for (const k of [link.from, link.to]) {
      squares[k] += weights[i] * square;
      totals[k] += weights[i];
    }
  });
  return Array.from(squares, (square, k) => Math.sqrt(square / totals[k]));
}
