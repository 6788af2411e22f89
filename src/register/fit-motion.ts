import { median } from '../image/median.js';
import { pieceKernels } from '../kernels/piece-kernels.js';
import {
  biweightLimit,
  commonModeSigma,
  fitRounds,
  gatheringRounds,
  medianLength,
  motionParameters as own,
} from '../model/constants/register.js';
import { type CentredMotion, noMotion } from './centred-motion.js';
import { solveSymmetric } from './symmetric-band.js';

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
  /** Standard deviation of the error of an outline, which all outlines share, px. */
  outlineErrorPx: Float32Array;
  /** Apparent shift by a gradient of the defocus across the tile, px. */
  slopeU: Float32Array;
  slopeV: Float32Array;
  /** Energy of the band above noise, geometric mean of the two tiles, and the level of the match. */
  energy: Float32Array;
  level: Float32Array;
  /** Filled by `fitMotion`: robust weight, 0 to 1. */
  weight: Float32Array;
}

/** Size of the error that each tile shares with others, px: in position and roll, and in scale at the radius. */
export interface SharedErrors {
  positionPx: Float32Array;
  scalePx: Float32Array;
}

/** How tiles are fitted. */
export interface FitOptions {
  radiusPx: number;
  shiftOnly: boolean;
  /** Where the iteration starts; without it at the median shift. */
  start?: CentredMotion;
  /** By default none. */
  shared?: SharedErrors;
}

/** A motion reference -> moving with its information about (a, b, x, y), row-major 4 x 4, a and b scaled by the radius: 1/px^2. */
export interface MotionFit {
  motion: CentredMotion;
  information: Float64Array;
}

/** The columns of a table of tiles. */
export const tileColumns = [
  ...(['u', 'v', 'foundU', 'foundV', 'xx', 'xy', 'yy', 'outlineErrorPx'] as const),
  ...(['slopeU', 'slopeV', 'energy', 'level', 'weight'] as const),
];

export function createCorrespondences(capacity: number): Correspondences {
  const columns = tileColumns.map((name) => [name, new Float32Array(capacity)]);
  return { count: 0, ...(Object.fromEntries(columns) as Omit<Correspondences, 'count'>) };
}

/** Unknowns of a fit: a and b times the radius, x, y; then the same of the common-mode motion. */
const all = 2 * own;

/**
 * Fits a similarity (or a shift alone) to tiles of which many may have correlated errors. The displacements of the
 * tiles are modelled as
 *
 *   motion + shared error x common-mode motion + own error,
 *
 * with the common-mode motion as unknowns of the fit, regularised by priors and then eliminated. So a few sharp tiles
 * determine the motion against any number of blurred ones that agree on another one, and the blurred ones determine what
 * the sharp ones, close together, leave undetermined. The information is that of the whole model (generalised least
 * squares; A. C. Aitken 1935).
 *
 * Own errors are weighted robustly, relative to the scatter of all: first by absolute values, which locates the majority,
 * then by Tukey's biweight (Beaton & Tukey 1974), which rejects outliers: specks on the sensor, parts of the subject that
 * moved, false matches.
 */
export function fitMotion(tiles: Correspondences, options: FitOptions): MotionFit {
  const { radiusPx, shiftOnly, shared } = options;
  const start = options.start ?? {
    ...noMotion,
    x: medianDifference(tiles.foundU, tiles.u, tiles.count),
    y: medianDifference(tiles.foundV, tiles.v, tiles.count),
  };
  const { fit, spread, weight, sums, ...place } = holdTiles(tiles, start, radiusPx, shared);
  let scatter = 1;
  for (let round = 0; round <= fitRounds; round++) {
    place.measureDistances();
    // Not 0 where all fit exactly.
    scatter = Math.max(Number.EPSILON, median(spread.slice()) / medianLength);
    for (let i = 0; i < tiles.count; i++) weight[i] = robustWeight(spread[i] / scatter, round);
    place.accumulate();
    if (round === fitRounds) break;
    addPriors(sums, fit, scatter * scatter, shiftOnly);
    const step = solveSymmetric(sums.normal, sums.right, all);
    if (!step) break;
    for (let k = 0; k < all; k++) fit[k] += step[k];
  }
  // Scatter above the tiles' own errors reduces the information; scatter below them does not increase it.
  const variance = Math.max(1, scatter * scatter);
  addPriors(sums, fit, variance, shiftOnly);
  const { information, right } = eliminateCommonMode(sums, variance);
  const step = solveSymmetric(information, right, own);
  const [a, b, x, y] = step ? step.map((value, k) => fit[k] + value) : fit;
  tiles.weight.set(weight);
  return {
    motion: { a: start.a + a / radiusPx, b: start.b + b / radiusPx, x: start.x + x, y: start.y + y },
    information,
  };
}

/** Normal equations: row-major (all, all) and the right side, of tiles with a scatter of 1. */
interface Sums {
  normal: Float64Array;
  right: Float64Array;
}

/** The tiles of a fit, and what is summed over them, in the memory of `pieceKernels`, until that is used anew. */
function holdTiles(tiles: Correspondences, start: CentredMotion, radiusPx: number, shared?: SharedErrors) {
  const { count, u, v, foundU, foundV, xx, xy, yy, weight } = tiles;
  const kernels = pieceKernels();
  // In the order of the kernels.
  const columns = [u, v, foundU, foundV, xx, xy, yy, weight, shared?.positionPx, shared?.scalePx];
  const [held, spread, from, fit, normal, right] = kernels.take(
    [Float32Array, columns.length * count],
    [Float64Array, count],
    [Float64Array, own],
    [Float64Array, all],
    [Float64Array, all * all],
    [Float64Array, all],
  );
  const inMemory = columns.map((column, i) => {
    const copy = held.subarray(i * count, (i + 1) * count);
    if (column) copy.set(column.subarray(0, count));
    else copy.fill(0);
    return copy;
  });
  from.set([start.a, start.b, start.x, start.y]);
  fit.fill(0);
  const place = { tiles: held, start: from, fit, columnBytes: 4 * count, count, radiusPx };
  return {
    /** The unknowns. */
    fit,
    /** Distance of every tile from the fit, in its own standard deviations. */
    spread,
    weight: inMemory[columns.indexOf(weight)],
    sums: { normal, right },
    /** Measures `spread`. */
    measureDistances: () => kernels.fitDistances({ ...place, spread }),
    /** Sums the normal equations anew. */
    accumulate: () => {
      kernels.fitEquations({ ...place, normal, right });
      for (let row = 1; row < all; row++) {
        for (let col = 0; col < row; col++) normal[row * all + col] = normal[col * all + row];
      }
    },
  };
}

/** Weight of a tile that lies `t` standard deviations from the fit, in a round. */
function robustWeight(t: number, round: number): number {
  if (round < gatheringRounds) return 1 / Math.max(1, t);
  return t < biweightLimit ? (1 - (t / biweightLimit) ** 2) ** 2 : 0;
}

/** Adds the priors on the common-mode motion, whose scale errors are in units of themselves; `variance` is that of the tiles' scatter. */
function addPriors({ normal, right }: Sums, fit: Float64Array, variance: number, shiftOnly: boolean): void {
  for (let k = own; k < all; k++) {
    const w = variance / (k === own ? 1 : commonModeSigma) ** 2;
    normal[k * (all + 1)] += w;
    right[k] -= w * fit[k];
  }
  if (!shiftOnly) return;
  for (const k of [0, 1, own, own + 1]) {
    for (let i = 0; i < all; i++) normal[k * all + i] = normal[i * all + k] = 0;
    normal[k * (all + 1)] = 1;
    right[k] = 0;
  }
}

/** The equations of the motion alone, with the common-mode motion eliminated. */
function eliminateCommonMode(
  { normal, right }: Sums,
  variance: number,
): { information: Float64Array; right: Float64Array } {
  for (let k = all - 1; k >= own; k--) {
    const pivot = normal[k * (all + 1)];
    for (let row = 0; row < k; row++) {
      const factor = normal[row * all + k] / pivot;
      right[row] -= factor * right[k];
      for (let col = 0; col < k; col++) normal[row * all + col] -= factor * normal[k * all + col];
    }
  }
  const information = Float64Array.from(
    { length: own * own },
    (_, i) => normal[Math.floor(i / own) * all + (i % own)] / variance,
  );
  return { information, right: Float64Array.from(right.subarray(0, own), (value) => value / variance) };
}

function medianDifference(left: Float32Array, right: Float32Array, count: number): number {
  return median(Float64Array.from({ length: count }, (_, i) => left[i] - right[i]));
}
