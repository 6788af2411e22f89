import type { Size } from '../image/image.js';
import { median } from '../image/median.js';
import { applyMatrix, composeMatrices, invertMatrix, type Matrix3 } from '../image/transform.js';
import { confirmedSigmas, minEvidence } from '../model/constants/model.js';
import {
  darkShare,
  lumaOffset,
  maxLag,
  maxSpots,
  minDarkeningLevels,
  minMidtone,
  minMovePx,
  minSidedShare,
  minSpotDistancePx,
  planePixels,
  rimRadius,
  spotRadii,
} from '../model/constants/rail.js';
import type { DustSpot, SensorSpot } from './sensor-spot.js';

/** One frame as it is searched for spots: ln brightness of a small picture. */
export interface SpotPlane {
  /** (height, width): ln (luma + `lumaOffset`). */
  light: Float32Array;
  /** Frame to anchor, full-size pixels. */
  matrix: Matrix3;
}

/** Entries of the table of logarithms a level: the mean of 4 x 4 pixels of 8 bits, each in quarters, is one of them exactly. */
const entriesPerLevel = 64;
const logTable = Float32Array.from({ length: 255 * entriesPerLevel + 1 }, (_, i) =>
  Math.log(i / entriesPerLevel + lumaOffset),
);

/** How much smaller, per side, planes are than a picture. */
export function planeShrink({ width, height }: Size): 1 | 2 | 4 | 8 {
  return ([1, 2, 4, 8] as const).find((k) => (width * height) / k ** 2 <= planePixels) ?? 8;
}

/** The plane of a frame, (floor(height / k), floor(width / k)), from its luma, (height, width). */
export function spotLight(luma: Float32Array, { width, height }: Size, k: number): Float32Array {
  const columns = Math.floor(width / k);
  const rows = Math.floor(height / k);
  const light = new Float32Array(columns * rows);
  for (let y = 0; y < rows * k; y++) {
    let from = y * width;
    const start = Math.floor(y / k) * columns;
    for (let out = start; out < start + columns; out++) {
      let sum = 0;
      for (let i = 0; i < k; i++) sum += luma[from++];
      light[out] += sum;
    }
  }
  const toEntry = entriesPerLevel / (k * k);
  for (let i = 0; i < light.length; i++) light[i] = logTable[(light[i] * toEntry + 0.5) | 0];
  return light;
}

/**
 * Finds dust: dark spots that stay where they are on the sensor while the picture moves.
 *
 * Each frame is compared with the mean of two at equal distance before and after it, both warped to its framing: the
 * subject cancels, since its focus changes little and evenly; dust remains, since it covered another part of the
 * subject. A speck is a pixel that is dark in repeated comparisons, tested against the scatter at the same pixel over
 * the frames (Student's t). Blur that spreads over a dark ground brightens it at a growing rate, which gives the same
 * response. A speck must therefore be dark against the frames before and against those after, each significantly: where
 * the picture changes much from frame to frame, both comparisons may scatter far more than their mean.
 *
 * @param runs Consecutive frames; undefined for a frame that cannot be used.
 * @param factor Full-size pixels per pixel of the planes.
 * @returns Centres in full-size pixels, darkest first.
 */
export function findDust(
  runs: readonly (readonly (SpotPlane | undefined)[])[],
  size: Size,
  factor: number,
): DustSpot[] {
  const lag = lagOf(runs, size, factor);
  if (lag === undefined) return [];
  const pixels = size.width * size.height;
  const responses = spotRadii.map((radius) => ({
    radius,
    sum: new Float32Array(pixels),
    squares: new Float32Array(pixels),
  }));
  const residual = new Float32Array(pixels);
  const integral = new Float64Array((size.width + 1) * (size.height + 1));
  let count = 0;
  for (const run of runs) {
    for (let k = lag; k + lag < run.length; k++) {
      const [before, own, after] = [run[k - lag], run[k], run[k + lag]];
      if (!before || !own || !after) continue;
      residual.set(own.light);
      subtractHalf(residual, own, before, size, factor);
      subtractHalf(residual, own, after, size, factor);
      integrate(residual, size, integral);
      for (const { radius, sum, squares } of responses) {
        spotResponse(integral, size, radius, (i, response) => {
          sum[i] += response;
          squares[i] += response * response;
        });
      }
      count++;
    }
  }
  if (count < minEvidence) return [];
  const found = responses.flatMap(({ radius, sum, squares }) =>
    spotsOf({ mean: sum.map((value) => value / count), squares, count }, size, radius),
  );
  found.sort((one, other) => other.depth - one.depth);
  const kept: typeof found = [];
  for (const spot of found) {
    if (kept.length === maxSpots) break;
    const isApart = kept.every((other) => Math.hypot(other.x - spot.x, other.y - spot.y) > minSpotDistancePx);
    if (isApart && staysDark(spot, runs, lag, size, factor)) kept.push(spot);
  }
  return kept.map(({ x, y }) => ({
    x: Math.round((x + 0.5) * factor - 0.5),
    y: Math.round((y + 0.5) * factor - 0.5),
    radius: rimRadius * factor,
  }));
}

/**
 * Dust but for places beside a hot pixel: where planes have the pixels of the frames one by one, a hot pixel in the
 * surroundings of a place makes it look dark, on the sensor like dust. The mean of several pixels hardly shows it.
 */
export function withoutHotPixels(dust: readonly DustSpot[], hotPixels: readonly SensorSpot[]): DustSpot[] {
  const reach = 3 * Math.max(...spotRadii);
  return dust.filter(({ x, y, radius }) => {
    const isBeside = (hot: SensorSpot) => Math.abs(hot.x - x) <= reach && Math.abs(hot.y - y) <= reach;
    return radius > rimRadius || !hotPixels.some(isBeside);
  });
}

/** Whether a spot is dark against the frames before it and those after it alike, and the picture moved there. */
function staysDark(
  spot: Spot,
  runs: readonly (readonly (SpotPlane | undefined)[])[],
  lag: number,
  size: Size,
  factor: number,
): boolean {
  const sides = [-lag, lag].map((offset) => {
    const compared = runs.flatMap((run) =>
      run.flatMap((own, k) => {
        const other = run[k + offset];
        return own && other ? [compareAt(spot, own, other, size, factor)] : [];
      }),
    );
    const { length } = compared;
    const mean = compared.reduce((sum, { response }) => sum + response, 0) / length;
    const square = compared.reduce((sum, { response }) => sum + (response - mean) ** 2, 0);
    const lights = compared.map(({ light }) => light).sort((one, other) => one - other);
    return {
      mean,
      error: Math.sqrt(square / (length * Math.max(1, length - 1))),
      movePx: median(Float64Array.from(compared, ({ movePx }) => movePx)),
      light: lights[Math.floor(darkShare * length)],
    };
  });
  return sides.every(
    ({ mean, error, movePx, light }) =>
      mean < -Math.max(minSidedShare * spot.depth, confirmedSigmas * error) &&
      movePx >= minMovePx &&
      light > Math.log(minMidtone + lumaOffset) &&
      spot.depth * Math.exp(light) > minDarkeningLevels,
  );
}

/**
 * At one spot of two frames: the response as defined by `spotResponse`, the motion of the picture there, and ln light.
 */
function compareAt(
  { x, y, radius }: Spot,
  own: SpotPlane,
  other: SpotPlane,
  { width, height }: Size,
  factor: number,
): { response: number; movePx: number; light: number } {
  const { m, startX, startY } = warpBetween(own, other, factor);
  const plane = other.light;
  const outer = 3 * radius;
  let [inner, innerCount, ring, ringCount] = [0, 0, 0, 0];
  for (let dy = -outer; dy <= outer; dy++) {
    for (let dx = -outer; dx <= outer; dx++) {
      const u = startX + m[0] * (x + dx) + m[1] * (y + dy);
      const v = startY + m[3] * (x + dx) + m[4] * (y + dy);
      const column = Math.floor(u);
      const row = Math.floor(v);
      if (column < 0 || row < 0 || column + 1 >= width || row + 1 >= height) continue;
      const value = own.light[(y + dy) * width + x + dx] - bilinear(plane, width, column, row, u, v);
      if (Math.abs(dx) <= radius && Math.abs(dy) <= radius) {
        inner += value;
        innerCount++;
      } else {
        ring += value;
        ringCount++;
      }
    }
  }
  const movePx = Math.hypot(startX + m[0] * x + m[1] * y - x, startY + m[3] * x + m[4] * y - y);
  const known = innerCount > 0 && ringCount > 0;
  const response = known ? inner / innerCount - ring / ringCount : 0;
  return { response, movePx, light: own.light[y * width + x] };
}

/**
 * Minimum significance of a speck, standard errors: approximately the quantile of Student's t with a false-alarm rate
 * of one in a hundred thousand pixels, fitted for 8 to 40 comparisons.
 */
function significanceSigmas(count: number): number {
  const freedom = count - 1;
  return 4.3 + (21 / freedom) * (1 + 3 / freedom);
}

/** A dark spot: centre and half width, pixels of the plane, and darkening, ln. */
interface Spot {
  x: number;
  y: number;
  radius: number;
  depth: number;
}

interface Evidence {
  /** Mean and sum of squares of the response to a spot that is fixed on the sensor. */
  mean: Float32Array;
  squares: Float32Array;
  count: number;
}

function spotsOf({ mean, squares, count }: Evidence, { width, height }: Size, radius: number): Spot[] {
  const found: Spot[] = [];
  const border = 3 * radius + 2;
  const minSigmas = significanceSigmas(count);
  for (let y = border; y < height - border; y++) {
    for (let x = border; x < width - border; x++) {
      const i = y * width + x;
      if (!(mean[i] < 0) || !isLocalMinimum(mean, width, x, y)) continue;
      const variance = Math.max(0, squares[i] / count - mean[i] * mean[i]);
      if (-mean[i] < minSigmas * Math.sqrt(variance / count)) continue;
      found.push({ x, y, depth: -mean[i], radius });
    }
  }
  return found;
}

/** The smallest distance of compared frames at which the picture has moved enough; undefined when it never has. */
function lagOf(
  runs: readonly (readonly (SpotPlane | undefined)[])[],
  { width, height }: Size,
  factor: number,
): number | undefined {
  const probes = [0.25, 0.75].flatMap((u) =>
    [0.25, 0.75].map((v) => [u * width * factor, v * height * factor]),
  );
  for (let lag = 1; lag <= maxLag; lag++) {
    const moves = runs.flatMap((run) =>
      run.flatMap((own, k) => {
        const other = run[k + lag];
        if (!own || !other) return [];
        const between = composeMatrices(invertMatrix(other.matrix), own.matrix);
        return probes.map(([x, y]) => {
          const [u, v] = applyMatrix(between, x, y);
          return Math.hypot(u - x, v - y) / factor;
        });
      }),
    );
    if (moves.length > 0 && median(Float64Array.from(moves)) >= minMovePx) return lag;
  }
  return undefined;
}

/**
 * Subtracts half of `other`, warped to the framing of `own` (bilinear), from `residual`; outside the bounds of `other`,
 * half of `own` itself, so that the residual vanishes there.
 */
function subtractHalf(
  residual: Float32Array,
  own: SpotPlane,
  other: SpotPlane,
  { width, height }: Size,
  factor: number,
): void {
  const { m, startX, startY } = warpBetween(own, other, factor);
  const plane = other.light;
  for (let y = 0, i = 0; y < height; y++) {
    let u = startX + m[1] * y;
    let v = startY + m[4] * y;
    for (let x = 0; x < width; x++, i++, u += m[0], v += m[3]) {
      const column = Math.floor(u);
      const row = Math.floor(v);
      if (column < 0 || row < 0 || column + 1 >= width || row + 1 >= height) {
        residual[i] -= own.light[i] / 2;
        continue;
      }
      residual[i] -= bilinear(plane, width, column, row, u, v) / 2;
    }
  }
}

/** Maps a pixel of `own`'s plane to `other`'s: u = startX + m[0] x + m[1] y, v = startY + m[3] x + m[4] y. */
function warpBetween(own: SpotPlane, other: SpotPlane, factor: number) {
  const m = composeMatrices(invertMatrix(other.matrix), own.matrix);
  // Pixel centres of the plane lie at (x + 0.5) * factor - 0.5 of the full picture.
  const first = (factor - 1) / 2;
  const toPlane = (full: number) => (full + 0.5) / factor - 0.5;
  const startX = toPlane((m[0] + m[1]) * first + m[2]);
  const startY = toPlane((m[3] + m[4]) * first + m[5]);
  return { m, startX, startY };
}

/** The plane at (u, v), which lies between the pixel (column, row) and the next ones. */
function bilinear(
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

/** Sums of a plane over all rectangles from its corner, (height + 1, width + 1). */
function integrate(plane: Float32Array, { width, height }: Size, sums: Float64Array): void {
  const stride = width + 1;
  for (let y = 0; y < height; y++) {
    let sum = 0;
    for (let x = 0; x < width; x++) {
      sum += plane[y * width + x];
      sums[(y + 1) * stride + x + 1] = sums[y * stride + x + 1] + sum;
    }
  }
}

/** Visits each pixel with the mean of the box around it less that of its surroundings; skips the border. */
function spotResponse(
  sums: Float64Array,
  { width, height }: Size,
  radius: number,
  visit: (i: number, response: number) => void,
): void {
  const stride = width + 1;
  const outer = 3 * radius;
  const innerArea = (2 * radius + 1) ** 2;
  const ringArea = (2 * outer + 1) ** 2 - innerArea;
  for (let y = outer; y < height - outer; y++) {
    const top = (y - radius) * stride;
    const bottom = (y + radius + 1) * stride;
    const outerTop = (y - outer) * stride;
    const outerBottom = (y + outer + 1) * stride;
    for (let x = outer; x < width - outer; x++) {
      const l = x - radius;
      const r = x + radius + 1;
      const outerL = x - outer;
      const outerR = x + outer + 1;
      const inner = sums[bottom + r] - sums[top + r] - sums[bottom + l] + sums[top + l];
      const all =
        sums[outerBottom + outerR] -
        sums[outerTop + outerR] -
        sums[outerBottom + outerL] +
        sums[outerTop + outerL];
      visit(y * width + x, inner / innerArea - (all - inner) / ringArea);
    }
  }
}

function isLocalMinimum(plane: Float32Array, width: number, x: number, y: number): boolean {
  const here = plane[y * width + x];
  for (let dy = -2; dy <= 2; dy++) {
    for (let dx = -2; dx <= 2; dx++) if (plane[(y + dy) * width + x + dx] < here) return false;
  }
  return true;
}
