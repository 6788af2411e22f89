import type { Size } from '../image/image.js';
import type { Matrix3 } from '../image/transform.js';
import { residualUnits, spotIsolationPx, spotRadii, spotReachPx } from '../model/constants/rail.js';

/** A plane of ln brightness, (height, width), and what of it lies under a pixel of another. */
export interface WarpedPlane {
  plane: Float32Array;
  /** Pixel (x, y) is at u = startX + m[0] x + m[1] y, v = startY + m[3] x + m[4] y of it. */
  m: Matrix3;
  startX: number;
  startY: number;
}

/** A frame that is compared with the mean of two others. */
export interface SpotComparison {
  own: { light: Float32Array };
  others: readonly WarpedPlane[];
}

/** A dark spot: centre and half width, pixels of the plane, and darkening, ln. */
export interface Spot {
  x: number;
  y: number;
  radius: number;
  depth: number;
}

/** Responses to spots that are fixed on the sensor. */
export interface SpotEvidence {
  radius: number;
  /** Row of the planes at which the arrays begin. */
  top: number;
  /** (rows, width): mean and sum of squares over the comparisons. */
  mean: Float32Array;
  squares: Float32Array;
  /** Comparisons. */
  count: number;
}

/**
 * How much darker pixels are than their surroundings, in each frame against the two that it is compared with: the mean of the box
 * of each of `spotRadii` around a pixel less the mean of what surrounds it, three times as wide, of the residual
 *   ln own - (ln first + ln second) / 2,
 * for rows `from` to `to` - 1 and those beside them that `spotsOf` asks for.
 */
export function measureResponses(
  comparisons: readonly SpotComparison[],
  size: Size,
  from: number,
  to: number,
): SpotEvidence[] {
  const { width, height } = size;
  const top = Math.max(0, from - spotIsolationPx);
  const bottom = Math.min(height, to + spotIsolationPx);
  const pixels = width * (bottom - top);
  const responses = spotRadii.map((radius) => ({
    radius,
    top,
    mean: new Float32Array(pixels),
    squares: new Float32Array(pixels),
    count: comparisons.length,
  }));
  const first = Math.max(0, top - spotReachPx);
  const last = Math.min(height, bottom + spotReachPx);
  const residual = new Float32Array(width * (last - first));
  const sums = new Int32Array((width + 1) * (last - first + 1));
  for (const { own, others } of comparisons) {
    residual.set(own.light.subarray(first * width, last * width));
    for (const other of others) subtractHalf(residual, own.light, other, size, first, last);
    integrate(residual, width, last - first, sums);
    for (const evidence of responses) addResponses(evidence, sums, size, bottom, first);
  }
  for (const { mean, count } of responses) for (let i = 0; i < pixels; i++) mean[i] /= count;
  return responses;
}

/**
 * Subtracts half of another frame, warped (bilinear), from rows of `residual`; outside of its bounds half of `own` itself, so
 * that the residual vanishes there.
 */
function subtractHalf(
  residual: Float32Array,
  own: Float32Array,
  { plane, m, startX, startY }: WarpedPlane,
  { width, height }: Size,
  from: number,
  to: number,
): void {
  const [stepX, stepY] = [m[0], m[3]];
  for (let y = from, i = 0; y < to; y++) {
    let u = startX + m[1] * y;
    let v = startY + m[4] * y;
    for (let x = 0; x < width; x++, i++, u += stepX, v += stepY) {
      const column = Math.floor(u);
      const row = Math.floor(v);
      if (column < 0 || row < 0 || column + 1 >= width || row + 1 >= height) {
        residual[i] -= own[y * width + x] / 2;
        continue;
      }
      residual[i] -= bilinear(plane, width, column, row, u, v) / 2;
    }
  }
}

/** The plane at (u, v), which lies between the pixel (column, row) and the next ones. */
export function bilinear(
  plane: Float32Array,
  width: number,
  column: number,
  row: number,
  u: number,
  v: number,
): number {
  const at = row * width + column;
  const s = u - column;
  const upper = plane[at] + s * (plane[at + 1] - plane[at]);
  const lower = plane[at + width] + s * (plane[at + width + 1] - plane[at + width]);
  return upper + (v - row) * (lower - upper);
}

/**
 * Sums of residuals over all rectangles from their corner, (rows + 1, width + 1), in units. They wrap around at 2^32; the
 * sum over a box, a difference of them, does not come near.
 */
function integrate(residual: Float32Array, width: number, rows: number, sums: Int32Array): void {
  const stride = width + 1;
  for (let y = 0, i = 0; y < rows; y++) {
    let sum = 0;
    let at = (y + 1) * stride + 1;
    for (let x = 0; x < width; x++, i++, at++) {
      sum = (sum + Math.round(residual[i] * residualUnits)) | 0;
      sums[at] = sums[at - stride] + sum;
    }
  }
}

/** Adds the response of each pixel, and its square, from the row of `evidence` to `bottom` - 1; none at the border. */
function addResponses(
  { radius, top, mean, squares }: SpotEvidence,
  sums: Int32Array,
  { width, height }: Size,
  bottom: number,
  firstRow: number,
): void {
  const stride = width + 1;
  const outer = 3 * radius;
  const side = 2 * radius + 1;
  const outerSide = 2 * outer + 1;
  const innerArea = side ** 2;
  const ringArea = outerSide ** 2 - innerArea;
  const perInner = 1 / (innerArea * residualUnits);
  const perRing = 1 / (ringArea * residualUnits);
  for (let y = Math.max(top, outer); y < Math.min(bottom, height - outer); y++) {
    // The sums at the left corners of both boxes around the first pixel.
    const row = y - firstRow;
    let l = (row - radius) * stride + outer - radius;
    let m = (row + radius + 1) * stride + outer - radius;
    let o = (row - outer) * stride;
    let p = (row + outer + 1) * stride;
    const start = (y - top) * width;
    for (let i = start + outer; i < start + width - outer; i++, l++, m++, o++, p++) {
      const inner = (sums[m + side] - sums[l + side] - sums[m] + sums[l]) | 0;
      const all = (sums[p + outerSide] - sums[o + outerSide] - sums[p] + sums[o]) | 0;
      const response = inner * perInner - (all - inner) * perRing;
      mean[i] += response;
      squares[i] += response * response;
    }
  }
}

/** The significant spots whose centres lie in rows `from` to `to` - 1. */
export function spotsOf(
  { radius, top, mean, squares, count }: SpotEvidence,
  { width, height }: Size,
  from: number,
  to: number,
): Spot[] {
  const found: Spot[] = [];
  const border = 3 * radius + spotIsolationPx;
  const minSigmas = significanceSigmas(count);
  for (let y = Math.max(from, border); y < Math.min(to, height - border); y++) {
    for (let x = border; x < width - border; x++) {
      const i = (y - top) * width + x;
      if (!(mean[i] < 0) || !isLocalMinimum(mean, width, i)) continue;
      const variance = Math.max(0, squares[i] / count - mean[i] * mean[i]);
      if (-mean[i] < minSigmas * Math.sqrt(variance / count)) continue;
      found.push({ x, y, depth: -mean[i], radius });
    }
  }
  return found;
}

/**
 * Minimum significance of a speck, standard errors: approximately the quantile of Student's t with a false-alarm rate
 * of one in a hundred thousand pixels, fitted for 8 to 40 comparisons.
 */
function significanceSigmas(count: number): number {
  const freedom = count - 1;
  return 4.3 + (21 / freedom) * (1 + 3 / freedom);
}

function isLocalMinimum(plane: Float32Array, width: number, i: number): boolean {
  const here = plane[i];
  for (let dy = -spotIsolationPx; dy <= spotIsolationPx; dy++) {
    const row = i + dy * width;
    for (let at = row - spotIsolationPx; at <= row + spotIsolationPx; at++)
      if (plane[at] < here) return false;
  }
  return true;
}
