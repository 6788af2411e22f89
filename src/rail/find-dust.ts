import type { Size } from '../image/image.js';
import { median } from '../image/median.js';
import { applyMatrix, composeMatrices, invertMatrix, type Matrix3 } from '../image/transform.js';
import type { SensorSpot } from './sensor-spot.js';

/** One frame as spots are looked for: ln brightness of a small picture. */
export interface SpotPlane {
  /** (height, width): ln (luma + `lumaOffset`). */
  light: Float32Array;
  /** Frame to anchor, full-size pixels. */
  matrix: Matrix3;
}

/** Keeps noise in shadows from growing in the logarithm, 8-bit levels. */
const lumaOffset = 12;
/** Entries of the table of logarithms a level: the mean of 4 x 4 pixels of 8 bits, each in quarters, is one of them exactly. */
const logSteps = 64;
const logTable = Float32Array.from({ length: 255 * logSteps + 1 }, (_, i) =>
  Math.log(i / logSteps + lumaOffset),
);
/** Dust is looked for on pictures of about so many pixels. */
const planePixels = 400_000;

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
  const toEntry = logSteps / (k * k);
  for (let i = 0; i < light.length; i++) light[i] = logTable[(light[i] * toEntry + 0.5) | 0];
  return light;
}

/** Half sides of the boxes that a spot is told by, pixels of the plane; its surroundings are three times as wide. */
const spotRadii = [2, 4];
/** Least loss of light of a speck against the frames around, ln. */
const leastStay = 0.004;
/** Comparisons that are needed. */
const fewestComparisons = 8;
/** Least move of the picture between compared frames, pixels of the plane, and the most frames that may lie between. */
const leastMovePx = 1.2;
const mostLag = 6;
const mostSpots = 40;
/** Spots nearer to each other than this are one, pixels of the plane. */
const apartPx = 14;

/**
 * Finds dust: dark spots that stay where they are on the sensor while the picture moves.
 *
 * Each frame is compared with the mean of two at equal distance before and after it, both carried into its framing: the
 * subject goes out, as its focus changes little and evenly; dust stays, for it was elsewhere on the subject. A speck is
 * where this is dark time and again, judged by the scatter at the same place over the frames (Student's t). Where blur
 * spreads over a dark ground, light grows faster and faster, which looks alike: a speck must be dark against the frames
 * before and against those after, and each clearly: where a picture changes much from frame to frame both comparisons may
 * waver far more than their mean.
 *
 * @param runs Frames in a row; an undefined plane stands for one that is of no use.
 * @param factor Full-size pixels per pixel of the planes.
 * @returns Middles in full-size pixels, deepest first.
 */
export function findDust(
  runs: readonly (readonly (SpotPlane | undefined)[])[],
  size: Size,
  factor: number,
): SensorSpot[] {
  const lag = lagOf(runs, size, factor);
  if (lag === undefined) return [];
  const pixels = size.width * size.height;
  const responses = spotRadii.map((radius) => ({
    radius,
    sum: new Float32Array(pixels),
    squares: new Float32Array(pixels),
  }));
  const left = new Float32Array(pixels);
  const integral = new Float64Array((size.width + 1) * (size.height + 1));
  let count = 0;
  for (const run of runs) {
    for (let k = lag; k + lag < run.length; k++) {
      const [before, own, after] = [run[k - lag], run[k], run[k + lag]];
      if (!before || !own || !after) continue;
      left.set(own.light);
      subtractHalf(left, own, before, size, factor);
      subtractHalf(left, own, after, size, factor);
      integrate(left, size, integral);
      for (const { radius, sum, squares } of responses) {
        spotResponse(integral, size, radius, (i, response) => {
          sum[i] += response;
          squares[i] += response * response;
        });
      }
      count++;
    }
  }
  if (count < fewestComparisons) return [];
  const found = responses.flatMap(({ radius, sum, squares }) =>
    spotsOf({ mean: sum.map((value) => value / count), squares, count }, size, radius),
  );
  found.sort((one, other) => other.depth - one.depth);
  const kept: typeof found = [];
  for (const spot of found) {
    if (kept.length === mostSpots) break;
    const isApart = kept.every((other) => Math.hypot(other.x - spot.x, other.y - spot.y) > apartPx);
    if (isApart && staysDark(spot, runs, lag, size, factor)) kept.push(spot);
  }
  return kept.map(({ x, y }) => ({
    x: Math.round((x + 0.5) * factor - 0.5),
    y: Math.round((y + 0.5) * factor - 0.5),
  }));
}

/** Part of its darkness that a speck shows at least against the frames on either side, and standard errors of it there. */
const leastSided = 0.35;
const sidedErrors = 2;
/**
 * Dust is nothing to see on ground that is darker than this in a quarter of the frames, nor when it takes less light than
 * this, 8-bit levels. What goes in and out of black does not dim by parts, as dust does.
 */
const leastLuma = 24;
const darkPart = 0.25;
const leastLevels = 0.6;

/** Whether a spot is dark against the frames before it and those after it alike, and the picture moved there. */
function staysDark(
  spot: Spot,
  runs: readonly (readonly (SpotPlane | undefined)[])[],
  lag: number,
  size: Size,
  factor: number,
): boolean {
  const sides = [-lag, lag].map((aside) => {
    const compared = runs.flatMap((run) =>
      run.flatMap((own, k) => {
        const other = run[k + aside];
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
      light: lights[Math.floor(darkPart * length)],
    };
  });
  return sides.every(
    ({ mean, error, movePx, light }) =>
      mean < -Math.max(leastStay / 2, leastSided * spot.depth, sidedErrors * error) &&
      movePx >= leastMovePx &&
      light > Math.log(leastLuma + lumaOffset) &&
      spot.depth * Math.exp(light) > leastLevels,
  );
}

/** At one spot of two frames: the response as `spotResponse` tells it of a picture, how far that moved, and ln light. */
function compareAt(
  { x, y, radius }: Spot,
  own: SpotPlane,
  other: SpotPlane,
  { width, height }: Size,
  factor: number,
): { response: number; movePx: number; light: number } {
  const { m, startX, startY } = carrying(own, other, factor);
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
 * How many standard errors a speck must stand out by: near the quantile of Student's t that chance passes about once in
 * a hundred thousand places, fitted from 8 to 40 comparisons.
 */
function clearErrors(count: number): number {
  const freedom = count - 1;
  return 4.3 + (21 / freedom) * (1 + 3 / freedom);
}

/** A dark spot: its middle and half side, pixels of the plane, and how dark it is, ln. */
interface Spot {
  x: number;
  y: number;
  radius: number;
  depth: number;
}

interface Evidence {
  /** Mean and sum of squares of the response to a spot that stays. */
  mean: Float32Array;
  squares: Float32Array;
  count: number;
}

function spotsOf({ mean, squares, count }: Evidence, { width, height }: Size, radius: number): Spot[] {
  const found: Spot[] = [];
  const border = 3 * radius + 2;
  const clear = clearErrors(count);
  for (let y = border; y < height - border; y++) {
    for (let x = border; x < width - border; x++) {
      const i = y * width + x;
      if (!(mean[i] < -leastStay) || !isLeast(mean, width, x, y)) continue;
      const variance = Math.max(0, squares[i] / count - mean[i] * mean[i]) + noiseFloor ** 2;
      if (-mean[i] < clear * Math.sqrt(variance / count)) continue;
      found.push({ x, y, depth: -mean[i], radius });
    }
  }
  return found;
}

/** Scatter that a place has at least, ln: few comparisons may agree by chance. */
const noiseFloor = 0.003;

/** The least distance of compared frames at which the picture has moved enough; undefined when it never has. */
function lagOf(
  runs: readonly (readonly (SpotPlane | undefined)[])[],
  { width, height }: Size,
  factor: number,
): number | undefined {
  const places = [0.25, 0.75].flatMap((u) =>
    [0.25, 0.75].map((v) => [u * width * factor, v * height * factor]),
  );
  for (let lag = 1; lag <= mostLag; lag++) {
    const moves = runs.flatMap((run) =>
      run.flatMap((own, k) => {
        const other = run[k + lag];
        if (!own || !other) return [];
        const between = composeMatrices(invertMatrix(other.matrix), own.matrix);
        return places.map(([x, y]) => {
          const [u, v] = applyMatrix(between, x, y);
          return Math.hypot(u - x, v - y) / factor;
        });
      }),
    );
    if (moves.length > 0 && median(Float64Array.from(moves)) >= leastMovePx) return lag;
  }
  return undefined;
}

/**
 * Takes half of `other`, carried into the framing of `own` (bilinear), from `left`; where `other` does not reach, half of
 * what `own` shows there, so that nothing is left to see.
 */
function subtractHalf(
  left: Float32Array,
  own: SpotPlane,
  other: SpotPlane,
  { width, height }: Size,
  factor: number,
): void {
  const { m, startX, startY } = carrying(own, other, factor);
  const plane = other.light;
  for (let y = 0, i = 0; y < height; y++) {
    let u = startX + m[1] * y;
    let v = startY + m[4] * y;
    for (let x = 0; x < width; x++, i++, u += m[0], v += m[3]) {
      const column = Math.floor(u);
      const row = Math.floor(v);
      if (column < 0 || row < 0 || column + 1 >= width || row + 1 >= height) {
        left[i] -= own.light[i] / 2;
        continue;
      }
      left[i] -= bilinear(plane, width, column, row, u, v) / 2;
    }
  }
}

/** Carries a pixel of `own`'s plane into `other`'s: u = startX + m[0] x + m[1] y, v = startY + m[3] x + m[4] y. */
function carrying(own: SpotPlane, other: SpotPlane, factor: number) {
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

/** Gives for each pixel the mean of the box around it less that of its surroundings; nothing near the border. */
function spotResponse(
  sums: Float64Array,
  { width, height }: Size,
  radius: number,
  give: (i: number, response: number) => void,
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
      give(y * width + x, inner / innerArea - (all - inner) / ringArea);
    }
  }
}

function isLeast(plane: Float32Array, width: number, x: number, y: number): boolean {
  const here = plane[y * width + x];
  for (let dy = -2; dy <= 2; dy++) {
    for (let dx = -2; dx <= 2; dx++) if (plane[(y + dy) * width + x + dx] < here) return false;
  }
  return true;
}
