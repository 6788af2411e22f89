import { median } from '../image/median.js';
import { pieceKernels } from '../kernels/piece-kernels.js';
import {
  biweightLimit,
  fitRounds,
  gatheringRounds,
  maxMotion,
  medianLength,
} from '../model/constants/register.js';
import { type CentredMotion, noMotion } from './centred-motion.js';
import { solveSymmetric } from './solve-symmetric.js';

/** Positions of tiles of the reference in the moving frame; full-size pixels about the centre. */
export interface Correspondences {
  count: number;
  /** Reference position. */
  u: Float32Array;
  v: Float32Array;
  /** Position found in the moving frame. */
  foundU: Float32Array;
  foundV: Float32Array;
  /** Information (inverse covariance) of the found position, 1/px^2. */
  xx: Float32Array;
  xy: Float32Array;
  yy: Float32Array;
  /** Standard deviation of the error that this tile shares with others like it, px. */
  sharedErrorPx: Float32Array;
  /** Apparent shift by a gradient of the defocus across the tile, px. */
  slopeU: Float32Array;
  slopeV: Float32Array;
  /** Energy of the band above noise, geometric mean of the two tiles, and the level of the match. */
  energy: Float32Array;
  level: Float32Array;
  /** Filled by `fitMotion`: robust weight, 0 to 1, and distance from the fit in pixels. */
  weight: Float32Array;
  distancePx: Float32Array;
}

/** A fitted motion reference -> moving with its information about (a, b, x, y), row-major 4 x 4. */
export interface MotionFit {
  motion: CentredMotion;
  information: Float64Array;
  /** Weighted RMS distance of the tiles from the fit, px. */
  residualPx: number;
  /** Uncertainty of scale (at the radius) and shift from errors that the tiles share, px. */
  scaleSigmaPx: number;
  shiftSigmaPx: number;
}

export function createCorrespondences(capacity: number): Correspondences {
  const column = () => new Float32Array(capacity);
  return {
    count: 0,
    u: column(),
    v: column(),
    foundU: column(),
    foundV: column(),
    xx: column(),
    xy: column(),
    yy: column(),
    sharedErrorPx: column(),
    slopeU: column(),
    slopeV: column(),
    energy: column(),
    level: column(),
    weight: column(),
    distancePx: column(),
  };
}

/**
 * Iteratively reweighted least squares for a similarity (or a shift alone) on tile correspondences: first
 * absolute-value weights, which locate the majority, then Tukey's biweight (Beaton & Tukey 1974), which rejects
 * outliers: specks on the sensor, parts of the subject that moved, false matches.
 */
export function fitMotion(tiles: Correspondences, radiusPx: number, shiftOnly: boolean): MotionFit {
  const { count, u, v, foundU, foundV, xx, xy, yy, weight, distancePx } = tiles;
  const kernels = pieceKernels();
  // In the order of the kernels.
  const columns = [u, v, foundU, foundV, xx, xy, yy, weight, distancePx];
  const columnBytes = 4 * count;
  const place = kernels.take(columns.length * columnBytes, 8 * count, 8 * 16, 8 * 4);
  const [held, spread, normalPlace, rightPlace] = place;
  const deviation = new Float64Array(spread.buffer, spread.byteOffset, count);
  const normal = new Float64Array(normalPlace.buffer, normalPlace.byteOffset, 16);
  const right = new Float64Array(rightPlace.buffer, rightPlace.byteOffset, 4);
  const inMemory = columns.map((column, i) => {
    const copy = new Float32Array(held.buffer, held.byteOffset + i * columnBytes, count);
    copy.set(column.subarray(0, count));
    return copy;
  });
  const weights = inMemory[columns.indexOf(weight)];
  const accumulate = (from: CentredMotion) => {
    kernels.motionEquations({
      ...{ tiles: held.byteOffset, columnBytes, count, ...from, radiusPx },
      ...{ normal: normal.byteOffset, right: right.byteOffset },
    });
    for (let row = 1; row < 4; row++) {
      for (let col = 0; col < row; col++) normal[row * 4 + col] = normal[col * 4 + row];
    }
  };
  const scratch = new Float64Array(count);
  let motion: CentredMotion = {
    ...noMotion,
    x: medianDifference(foundU, u, scratch),
    y: medianDifference(foundV, v, scratch),
  };
  let sigma = 1;
  for (let round = 0; round <= fitRounds; round++) {
    kernels.motionDistances({
      ...{ tiles: held.byteOffset, columnBytes, count, ...motion },
      spread: spread.byteOffset,
    });
    scratch.set(deviation);
    sigma = scatterOf(median(scratch));
    for (let i = 0; i < count; i++) weights[i] = robustWeight(deviation[i] / sigma, round);
    if (round === fitRounds) break;
    accumulate(motion);
    addPrior(normal, right, motion, radiusPx, sigma);
    if (shiftOnly) fixScaleAndRoll(normal, right);
    const step = solveSymmetric(normal, right, 4);
    if (!step) break;
    motion = {
      a: motion.a + step[0] / radiusPx,
      b: motion.b + step[1] / radiusPx,
      x: motion.x + step[2],
      y: motion.y + step[3],
    };
  }
  accumulate(motion);
  weight.set(weights);
  distancePx.set(inMemory[columns.indexOf(distancePx)]);
  // Scatter above the tiles' own errors reduces the information; scatter below them does not increase it.
  const information = Float64Array.from(normal, (value) => value / Math.max(1, sigma * sigma));
  let total = 0;
  let squares = 0;
  let sharedSum = 0;
  let radiusSquares = 0;
  for (let i = 0; i < count; i++) {
    const w = weight[i] * (xx[i] + yy[i]);
    total += w;
    squares += w * distancePx[i] ** 2;
    sharedSum += w * tiles.sharedErrorPx[i];
    radiusSquares += w * (u[i] ** 2 + v[i] ** 2);
  }
  const shared = total > 0 ? sharedSum / total : 0;
  return {
    scaleSigmaPx: (shared * radiusPx) / Math.max(1, Math.sqrt(radiusSquares / total)),
    shiftSigmaPx: shared,
    motion,
    information,
    residualPx: total > 0 ? Math.sqrt(squares / total) : Number.NaN,
  };
}

/** Scatter of tiles whose distances from the fit have this median, in their standard deviations; not 0 where all fit exactly. */
export function scatterOf(medianDeviation: number): number {
  return Math.max(Number.EPSILON, medianDeviation / medianLength);
}

/** Weight of a tile that lies `t` standard deviations from the fit, in a round of `fitMotion`. */
export function robustWeight(t: number, round: number): number {
  if (round < gatheringRounds) return 1 / Math.max(1, t);
  return t < biweightLimit ? (1 - (t / biweightLimit) ** 2) ** 2 : 0;
}

function addPrior(
  normal: Float64Array,
  right: Float64Array,
  m: CentredMotion,
  radiusPx: number,
  sigma: number,
) {
  const w = (sigma / (maxMotion * radiusPx)) ** 2;
  normal[0] += w;
  normal[5] += w;
  right[0] += w * (1 - m.a) * radiusPx;
  right[1] -= w * m.b * radiusPx;
}

function fixScaleAndRoll(normal: Float64Array, right: Float64Array): void {
  for (let i = 0; i < 4; i++) {
    normal[i] = normal[i * 4] = 0;
    normal[4 + i] = normal[i * 4 + 1] = 0;
  }
  normal[0] = normal[5] = 1;
  right[0] = right[1] = 0;
}

function medianDifference(left: Float32Array, right: Float32Array, scratch: Float64Array): number {
  for (let i = 0; i < scratch.length; i++) scratch[i] = left[i] - right[i];
  return median(scratch);
}
