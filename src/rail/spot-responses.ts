import type { Size } from '../image/image.js';
import type { Matrix3 } from '../image/transform.js';
import { pieceKernels } from '../kernels/piece-kernels.js';
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
  const first = Math.max(0, top - spotReachPx);
  const last = Math.min(height, bottom + spotReachPx);
  const planeRoom = [Float32Array, width * (last - first)] as const;
  const responseRoom = [Float32Array, width * (bottom - top)] as const;
  const kernels = pieceKernels();
  const [ownRows, residual, sums, otherRows, ...responses] = kernels.take(
    planeRoom,
    planeRoom,
    [Int32Array, (width + 1) * (last - first + 1)],
    [Float32Array, width * height],
    ...spotRadii.flatMap(() => [responseRoom, responseRoom]),
  );
  for (const zeros of [sums, ...responses]) zeros.fill(0);
  for (const { own, others } of comparisons) {
    for (const rows of [ownRows, residual]) rows.set(own.light.subarray(first * width, last * width));
    for (const { plane, m, startX, startY } of others) {
      const [otherTop, otherBottom] = rowsUnder({ m, startX, startY }, size, first, last);
      otherRows.set(plane.subarray(otherTop * width, otherBottom * width));
      kernels.subtractWarped({
        ...{ residual, own: ownRows, other: otherRows, otherTop, width, height, from: first, to: last },
        ...{ startX, startY, m0: m[0], m1: m[1], m3: m[3], m4: m[4] },
      });
    }
    const units = residualUnits;
    kernels.integrateUnits({ plane: residual, width, rows: last - first, units, sums });
    for (const [i, radius] of spotRadii.entries()) {
      const [total, squares] = responses.slice(2 * i);
      kernels.addSpotResponses({
        ...{ sums, sumsTop: first, width, height, radius, units, top },
        ...{ from: top, to: bottom, total, squares },
      });
    }
  }
  const count = comparisons.length;
  return spotRadii.map((radius, i) => ({
    radius,
    top,
    mean: responses[2 * i].map((total) => total / count),
    squares: responses[2 * i + 1].slice(),
    count,
  }));
}

/** The rows of another plane, from the first to before the last, that lie under rows of one. */
function rowsUnder(
  { m, startY }: Omit<WarpedPlane, 'plane'>,
  { width, height }: Size,
  from: number,
  to: number,
): [number, number] {
  const corners = [0, width - 1].flatMap((x) => [from, to - 1].map((y) => startY + m[3] * x + m[4] * y));
  const clamp = (row: number) => Math.max(0, Math.min(height, row));
  return [clamp(Math.floor(Math.min(...corners)) - 1), clamp(Math.floor(Math.max(...corners)) + 3)];
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
