import { median } from '../image/median.js';
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
  const normal = new Float64Array(16);
  const right = new Float64Array(4);
  const deviation = new Float64Array(count);
  const scratch = new Float64Array(count);
  let motion: CentredMotion = {
    ...noMotion,
    x: medianDifference(foundU, u, scratch),
    y: medianDifference(foundV, v, scratch),
  };
  let sigma = 1;
  for (let round = 0; round <= fitRounds; round++) {
    for (let i = 0; i < count; i++) {
      const ex = foundU[i] - (motion.a * u[i] - motion.b * v[i] + motion.x);
      const ey = foundV[i] - (motion.b * u[i] + motion.a * v[i] + motion.y);
      distancePx[i] = Math.sqrt(ex * ex + ey * ey);
      deviation[i] = Math.sqrt(Math.max(0, xx[i] * ex * ex + 2 * xy[i] * ex * ey + yy[i] * ey * ey));
    }
    scratch.set(deviation);
    sigma = scatterOf(median(scratch));
    for (let i = 0; i < count; i++) weight[i] = robustWeight(deviation[i] / sigma, round);
    if (round === fitRounds) break;
    accumulate(tiles, motion, radiusPx, normal, right);
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
  accumulate(tiles, motion, radiusPx, normal, right);
  // Scatter above the tiles' own errors reduces the information; scatter below them does not increase it.
  const information = normal.map((value) => value / Math.max(1, sigma * sigma));
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

/**
 * One tile's contribution to the normal equations for a, b, x, y, with a and b in units of pixels at `radiusPx`: the
 * upper triangle of `block`, row-major 4 x 4, and `side`. The tile lies `ex`, `ey` px from the fit and enters by its
 * weight.
 */
export function tileEquations(
  tiles: Correspondences,
  i: number,
  ex: number,
  ey: number,
  radiusPx: number,
  block: Float64Array,
  side: Float64Array,
): void {
  const w = tiles.weight[i];
  const p = tiles.u[i] / radiusPx;
  const q = tiles.v[i] / radiusPx;
  const xx = w * tiles.xx[i];
  const xy = w * tiles.xy[i];
  const yy = w * tiles.yy[i];
  // Columns of the model: a -> (p, q), b -> (-q, p), x -> (1, 0), y -> (0, 1).
  const ax = xx * p + xy * q;
  const ay = xy * p + yy * q;
  const bx = -xx * q + xy * p;
  const by = -xy * q + yy * p;
  const fx = xx * ex + xy * ey;
  const fy = xy * ex + yy * ey;
  block[0] = p * ax + q * ay;
  block[1] = p * bx + q * by;
  block[2] = ax;
  block[3] = ay;
  block[5] = -q * bx + p * by;
  block[6] = bx;
  block[7] = by;
  block[10] = xx;
  block[11] = xy;
  block[15] = yy;
  side[0] = p * fx + q * fy;
  side[1] = -q * fx + p * fy;
  side[2] = fx;
  side[3] = fy;
}

/** Normal equations of the step. */
function accumulate(
  tiles: Correspondences,
  motion: CentredMotion,
  radiusPx: number,
  normal: Float64Array,
  right: Float64Array,
): void {
  normal.fill(0);
  right.fill(0);
  const block = new Float64Array(16);
  const side = new Float64Array(4);
  for (let i = 0; i < tiles.count; i++) {
    if (tiles.weight[i] <= 0) continue;
    const u = tiles.u[i];
    const v = tiles.v[i];
    const ex = tiles.foundU[i] - (motion.a * u - motion.b * v + motion.x);
    const ey = tiles.foundV[i] - (motion.b * u + motion.a * v + motion.y);
    tileEquations(tiles, i, ex, ey, radiusPx, block, side);
    for (let k = 0; k < 16; k++) normal[k] += block[k];
    for (let k = 0; k < 4; k++) right[k] += side[k];
  }
  for (let row = 1; row < 4; row++) {
    for (let col = 0; col < row; col++) normal[row * 4 + col] = normal[col * 4 + row];
  }
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
