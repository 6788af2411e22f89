import { pieceKernels } from '../kernels/piece-kernels.js';
import {
  commonModeSigmaPx,
  gatheringRounds,
  maxMotion,
  rejectingRounds,
} from '../model/constants/register.js';
import type { CentredMotion } from './centred-motion.js';
import { type Correspondences, robustWeight, scatterOf } from './fit-motion.js';
import { solveSymmetric } from './solve-symmetric.js';

/** How a pair's tiles are fitted. */
export interface FitFrame {
  radiusPx: number;
  shiftOnly: boolean;
}

/**
 * Tiles with the size of the error that each shares with others: `sharedErrorPx` in position and roll, `sharedScaleErrorPx` in
 * scale at the radius.
 */
export interface CorrelatedTiles extends Correspondences {
  sharedScaleErrorPx: Float32Array;
}

/** A motion with its information about (a, b, x, y), row-major 4 x 4, a and b scaled by the radius: 1/px^2. */
export interface CorrelatedFit {
  motion: CentredMotion;
  information: Float64Array;
}

/** Parameters of a motion: a and b times the radius, x, y. */
const own = 4;
/** Those, then the same of the common-mode motion of the tiles. */
const all = 2 * own;

/**
 * Fits a similarity (or a shift alone) to tiles of which many may have correlated errors. The displacements of the
 * tiles are modelled as
 *
 *   motion + shared error x common-mode motion + own error,
 *
 * with the common-mode motion as unknowns of the fit, regularised by priors and then eliminated. So a few sharp tiles determine the motion against any number of blurred ones that agree on another one,
 * and the blurred ones determine what the sharp ones, close together, leave undetermined. The information is that of
 * the whole model (generalised least squares; A. C. Aitken 1935).
 *
 * Own errors are weighted robustly as in `fitMotion`, but relative to the scatter of the most certain tiles.
 */
export function fitWithSharedErrors(
  tiles: CorrelatedTiles,
  start: CentredMotion,
  { radiusPx, shiftOnly }: FitFrame,
): CorrelatedFit {
  const place = new TilesInMemory(tiles, start, radiusPx);
  const { fit, spread, weight, sums } = place;
  const certainty = Float64Array.from(spread, (_, i) => (tiles.xx[i] + tiles.yy[i]) ** 1.5);
  const rounds = gatheringRounds + rejectingRounds;
  let scatter = 1;
  for (let round = 0; round <= rounds; round++) {
    place.measureDistances();
    scatter = scatterOf(weightedMedian(spread, certainty));
    for (let i = 0; i < tiles.count; i++) weight[i] = robustWeight(spread[i] / scatter, round);
    place.accumulate();
    if (round === rounds) break;
    addPriors(sums, fit, radiusPx, scatter * scatter, shiftOnly);
    const step = solveSymmetric(sums.normal, sums.right, all);
    if (!step) break;
    for (let k = 0; k < all; k++) fit[k] += step[k];
  }
  const variance = Math.max(1, scatter * scatter);
  addPriors(sums, fit, radiusPx, variance, shiftOnly);
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
class TilesInMemory {
  /** The unknowns. */
  readonly fit: Float64Array;
  /** Distance of every tile from the fit, in its own standard deviations. */
  readonly spread: Float64Array;
  readonly weight: Float32Array;
  readonly sums: Sums;
  private readonly kernels = pieceKernels();
  /** What all kernels are given. */
  private readonly place;

  constructor(tiles: CorrelatedTiles, start: CentredMotion, radiusPx: number) {
    const { count, u, v, foundU, foundV, xx, xy, yy, weight, sharedErrorPx, sharedScaleErrorPx } = tiles;
    // In the order of the kernels.
    const columns = [u, v, foundU, foundV, xx, xy, yy, weight, sharedErrorPx, sharedScaleErrorPx];
    const columnBytes = 4 * count;
    const [held, ...others] = this.kernels.take(
      ...[columns.length * columnBytes, 8 * count, 8 * own, 8 * all, 8 * all * all, 8 * all],
    );
    for (const [i, column] of columns.entries()) {
      new Float32Array(held.buffer, held.byteOffset + i * columnBytes, count).set(column.subarray(0, count));
    }
    const [spread, from, fit, normal, right] = others.map(
      ({ buffer, byteOffset, byteLength }) => new Float64Array(buffer, byteOffset, byteLength / 8),
    );
    from.set([start.a, start.b, start.x, start.y]);
    fit.fill(0);
    this.weight = new Float32Array(
      held.buffer,
      held.byteOffset + columns.indexOf(weight) * columnBytes,
      count,
    );
    this.spread = spread;
    this.fit = fit;
    this.sums = { normal, right };
    const addresses = { tiles: held.byteOffset, start: from.byteOffset, fit: fit.byteOffset };
    this.place = { ...addresses, columnBytes, count, radiusPx };
  }

  /** Measures `spread`. */
  measureDistances(): void {
    this.kernels.fitDistances({ ...this.place, spread: this.spread.byteOffset });
  }

  /** Sums the normal equations anew: columns of the model as in `fitMotion`, then the same times the tile's shared errors. */
  accumulate(): void {
    const { normal, right } = this.sums;
    this.kernels.fitEquations({ ...this.place, normal: normal.byteOffset, right: right.byteOffset });
    for (let row = 1; row < all; row++) {
      for (let col = 0; col < row; col++) normal[row * all + col] = normal[col * all + row];
    }
  }
}

/** Adds the priors on the common-mode motion and on scale and roll; `variance` is that of the tiles' scatter. */
function addPriors(
  { normal, right }: Sums,
  fit: Float64Array,
  radiusPx: number,
  variance: number,
  shiftOnly: boolean,
): void {
  const scaleRollSigmaPx = maxMotion * radiusPx;
  const sigmas = [scaleRollSigmaPx, scaleRollSigmaPx, undefined, undefined, ...commonModeSigmaPx];
  sigmas.forEach((sigmaPx, k) => {
    if (sigmaPx === undefined) return;
    const w = variance / sigmaPx ** 2;
    normal[k * (all + 1)] += w;
    right[k] -= w * fit[k];
  });
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

/** Bins per unit of the histogram for the median, and its length: larger values are clamped. */
const binsPerUnit = 16;
const spreadBins = 64 * binsPerUnit;
const histogram = new Float64Array(spreadBins);

/** The weighted median, to a sixteenth. */
function weightedMedian(values: Float64Array, weights: Float64Array): number {
  histogram.fill(0);
  let total = 0;
  for (let i = 0; i < values.length; i++) {
    histogram[Math.min(spreadBins - 1, Math.floor(values[i] * binsPerUnit))] += weights[i];
    total += weights[i];
  }
  let sum = 0;
  let bin = 0;
  while (bin < spreadBins - 1 && sum + histogram[bin] < total / 2) sum += histogram[bin++];
  return (bin + 0.5) / binsPerUnit;
}
