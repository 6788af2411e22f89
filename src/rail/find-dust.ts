import type { Size } from '../image/image.js';
import { median } from '../image/median.js';
import { applyMatrix, composeMatrices, invertMatrix, type Matrix3 } from '../image/transform.js';
import { confirmedSigmas, extremeShare, minSample } from '../model/constants/model.js';
import {
  lumaOffset,
  maxLag,
  maxSpots,
  minDarkeningLevels,
  minMidtone,
  minMovePx,
  planePixels,
  rimRadius,
  spotReachPx,
} from '../model/constants/rail.js';
import type { DustSpot, SensorSpot } from './sensor-spot.js';
import {
  bilinear,
  measureResponses,
  type Spot,
  type SpotComparison,
  spotsOf,
  type WarpedPlane,
} from './spot-responses.js';

/** One frame as it is searched for spots: ln brightness of a small picture. */
export interface SpotPlane {
  /** (height, width): ln (luma + `lumaOffset`). */
  light: Float32Array;
  /** Frame to anchor, full-size pixels. */
  matrix: Matrix3;
}

/** How much smaller, per side, planes are than a picture. */
export function planeShrink({ width, height }: Size): 1 | 2 | 4 | 8 {
  return ([1, 2, 4, 8] as const).find((k) => (width * height) / k ** 2 <= planePixels) ?? 8;
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
  const search = planDustSearch(runs, size, factor);
  return search ? pickDust(searchSpots(search, 0, size.height), factor) : [];
}

/** A search for dust, which threads can share: plain data. */
export interface DustSearch {
  runs: readonly (readonly (SpotPlane | undefined)[])[];
  /** Distance of the frames that are compared. */
  lag: number;
  size: Size;
  factor: number;
}

/** What is to be searched; undefined where the frames cannot show dust. */
export function planDustSearch(
  runs: readonly (readonly (SpotPlane | undefined)[])[],
  size: Size,
  factor: number,
): DustSearch | undefined {
  const lag = lagOf(runs, size, factor);
  if (lag === undefined) return undefined;
  const search = { runs, lag, size, factor };
  return comparisonsOf(search).length < minSample ? undefined : search;
}

/** The dark spots whose centres lie in rows `from` to `to` - 1 of the planes: the same in whatever parts they are searched. */
export function searchSpots(search: DustSearch, from: number, to: number): Spot[] {
  const comparisons = comparisonsOf(search);
  return measureResponses(comparisons, search.size, from, to)
    .flatMap((evidence) => spotsOf(evidence, search.size, from, to))
    .filter((spot) => staysDark(spot, search));
}

/** The dust among spots that may be one speck several times, see `findDust`. */
export function pickDust(spots: readonly Spot[], factor: number): DustSpot[] {
  const kept: Spot[] = [];
  for (const spot of [...spots].sort(compareSpots)) {
    if (kept.length === maxSpots) break;
    const isApart = kept.every((other) => Math.hypot(other.x - spot.x, other.y - spot.y) > spotReachPx);
    if (isApart) kept.push(spot);
  }
  return kept.map(({ x, y }) => ({
    x: Math.round((x + 0.5) * factor - 0.5),
    y: Math.round((y + 0.5) * factor - 0.5),
    radius: rimRadius * factor,
  }));
}

/** Darkest first; of equals by radius and row. */
function compareSpots(one: Spot, other: Spot): number {
  return other.depth - one.depth || one.radius - other.radius || one.y - other.y || one.x - other.x;
}

/** The frames that are compared with one before and one after them. */
function comparisonsOf({ runs, lag, factor }: DustSearch): SpotComparison[] {
  return runs.flatMap((run) =>
    run.flatMap((own, k) => {
      const [before, after] = [run[k - lag], run[k + lag]];
      if (!before || !own || !after) return [];
      return [{ own, others: [before, after].map((other) => warpBetween(own, other, factor)) }];
    }),
  );
}

/**
 * Dust but for places beside a hot pixel: where planes have the pixels of the frames one by one, a hot pixel in the
 * surroundings of a place makes it look dark, on the sensor like dust. The mean of several pixels hardly shows it.
 */
export function withoutHotPixels(dust: readonly DustSpot[], hotPixels: readonly SensorSpot[]): DustSpot[] {
  return dust.filter(({ x, y, radius }) => {
    const isBeside = (hot: SensorSpot) => Math.max(Math.abs(hot.x - x), Math.abs(hot.y - y)) <= spotReachPx;
    return radius > rimRadius || !hotPixels.some(isBeside);
  });
}

/** Whether a spot is dark against the frames before it and those after it alike, and the picture moved there. */
function staysDark(spot: Spot, { runs, lag, size, factor }: DustSearch): boolean {
  return [-lag, lag].every((offset) => {
    const compared = runs.flatMap((run) =>
      run.flatMap((own, k) => {
        const other = run[k + offset];
        return own && other ? [compareAt(spot, own, warpBetween(own, other, factor), size)] : [];
      }),
    );
    const { length } = compared;
    const mean = compared.reduce((sum, { response }) => sum + response, 0) / length;
    const square = compared.reduce((sum, { response }) => sum + (response - mean) ** 2, 0);
    const error = Math.sqrt(square / (length * Math.max(1, length - 1)));
    const lights = compared.map(({ light }) => light).sort((one, other) => one - other);
    const light = lights[Math.floor(extremeShare * length)];
    return (
      mean < -confirmedSigmas * error &&
      median(Float64Array.from(compared, ({ movePx }) => movePx)) >= minMovePx &&
      light > Math.log(minMidtone + lumaOffset) &&
      spot.depth * Math.exp(light) > minDarkeningLevels
    );
  });
}

/**
 * At one spot of two frames: the response as defined by `measureResponses`, the motion of the picture there, and ln light.
 */
function compareAt(
  { x, y, radius }: Spot,
  own: SpotPlane,
  { plane, m, startX, startY }: WarpedPlane,
  { width, height }: Size,
): { response: number; movePx: number; light: number } {
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

/** A plane as it lies under that of another frame. */
function warpBetween(own: SpotPlane, other: SpotPlane, factor: number): WarpedPlane {
  const m = composeMatrices(invertMatrix(other.matrix), own.matrix);
  // Pixel centres of the plane lie at (x + 0.5) * factor - 0.5 of the full picture.
  const first = (factor - 1) / 2;
  const toPlane = (full: number) => (full + 0.5) / factor - 0.5;
  const startX = toPlane((m[0] + m[1]) * first + m[2]);
  const startY = toPlane((m[3] + m[4]) * first + m[5]);
  return { plane: other.light, m, startX, startY };
}
