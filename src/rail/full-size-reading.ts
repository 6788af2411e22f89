import { InterruptedError } from '../errors.js';
import { applyMatrix, invertMatrix, type Matrix3 } from '../image/transform.js';
import { bytesOf, pieceKernels } from '../kernels/piece-kernels.js';
import { minSample } from '../model/constants/model.js';
import { burstFrames, detailTiles, fineTilePx, noiseTiles } from '../model/constants/rail.js';
import type { MotionSolution } from '../register/motion-solution.js';
import type { DecodedFrame } from '../stack/decode.js';
import { feedFrames } from '../stack/frame-feed.js';
import { detailAt, directionCount, gridBytes } from './detail-grid.js';
import { focusCurves, type TilePeak } from './focus-curves.js';
import { fitFocus, wellFitted } from './focus-fit.js';
import { searchHotPixels } from './hot-pixels.js';
import type { SensorSpot } from './sensor-spot.js';
import type { TileCurves } from './tile-curves.js';

/** What only full-size frames show, from a few of them. */
export interface FullSizeReading {
  hotPixels: SensorSpot[];
  /** Width of the focus curves of full-size detail, usual steps; undefined where there is too little. */
  fineWidth: number | undefined;
}

/** Which frames are read in full, and where: plain data. */
export interface FullSizePlan {
  /** Indices of the frames, in the order in which they are read. */
  frames: number[];
  /** Transform of each to the anchor, full-size pixels. */
  matrices: Matrix3[];
  /** Consecutive frames, by index, whose fine detail is measured; some of them may not be read. */
  burst: number[];
  /** Where it is: tiles by index. */
  tiles: number[];
  columns: number;
  tilePx: number;
}

/** What is measured of the frames of a plan: plain data. */
export interface FullSizeMeasurement {
  hotPixels: SensorSpot[];
  /** (tiles, frames of the burst, 4): energy by direction as in `DetailGrid`; NaN where a tile was not measured. */
  energy: Float32Array;
}

/**
 * Reads some frames in full: reduced frames lose the finest detail, whose depth of field is the smallest, and hot
 * pixels. A burst of consecutive frames, where most tiles come into focus, gives the width of the focus curves of fine
 * detail. The frame farthest from it, in which the same parts are blurred and displaced, keeps glints of the subject
 * from being taken for hot pixels.
 *
 * @param peaks One per tile; undefined for a tile whose curve has none.
 * @param measure Reads the frames of a plan: `measureFullSize`, here or elsewhere.
 */
export async function readFullSize(
  motion: MotionSolution,
  peaks: readonly (TilePeak | undefined)[],
  layout: TileLayout,
  positions: readonly number[],
  measure: (plan: FullSizePlan) => Promise<FullSizeMeasurement>,
): Promise<FullSizeReading> {
  const plan = planFullSize(motion, peaks, layout);
  const { hotPixels, energy } = await measure(plan);
  return { hotPixels, fineWidth: fineWidthOf(plan, energy, layout.light, positions) };
}

/** The frames and tiles that `readFullSize` reads. */
function planFullSize(
  { frames }: MotionSolution,
  peaks: readonly (TilePeak | undefined)[],
  layout: TileLayout,
): FullSizePlan {
  const burst = burstOf(peaks, frames.length);
  const farthest = burst[0] > frames.length - 1 - burst[burst.length - 1] ? 0 : frames.length - 1;
  const read = [...new Set([farthest, ...burst])].filter((k) => frames[k].usable);
  const { columns, tilePx } = layout;
  const matrices = read.map((k) => frames[k].matrix);
  return { frames: read, matrices, burst, tiles: tilesOf(burst, peaks, layout), columns, tilePx };
}

/** Reads the frames of a plan, which are decoded by index. */
export async function measureFullSize(
  plan: FullSizePlan,
  decode: (frame: number) => Promise<DecodedFrame>,
  signal: AbortSignal | undefined,
): Promise<FullSizeMeasurement> {
  const hot = searchHotPixels();
  const energy = new Float32Array(plan.tiles.length * plan.burst.length * directionCount).fill(Number.NaN);
  for await (const fed of feedFrames(plan.frames, decode, 1)) {
    if (signal?.aborted) throw new InterruptedError();
    // Unreadable frames have been reported already.
    if ('error' in fed) continue;
    hot.add(fed.value);
    const at = plan.burst.indexOf(fed.item);
    if (at >= 0) measureTiles(fed.value, plan.matrices[plan.frames.indexOf(fed.item)], plan, at, energy);
  }
  return { hotPixels: hot.found(), energy };
}

/** Tiles of the anchor, from the reduced frames. */
export type TileLayout = Pick<TileCurves, 'columns' | 'tilePx' | 'light'>;

/** The run of consecutive frames with most tiles that peak inside it; of equals the one nearest to the middle. */
function burstOf(peaks: readonly (TilePeak | undefined)[], frames: number): number[] {
  const inFocus = new Array<number>(frames).fill(0);
  for (const peak of peaks) if (peak) inFocus[peak.best]++;
  const length = Math.min(burstFrames, frames);
  const middle = (frames - length) / 2;
  const starts = Array.from({ length: frames - length + 1 }, (_, start) => {
    const tiles = inFocus.slice(start + 1, start + length - 1).reduce((sum, count) => sum + count, 0);
    return { start, tiles, off: Math.abs(start - middle) };
  });
  const [{ start }] = starts.sort((p, q) => q.tiles - p.tiles || p.off - q.off);
  return Array.from({ length }, (_, i) => start + i);
}

/** The tiles that peak within the burst, and some that peak nowhere. */
function tilesOf(
  burst: readonly number[],
  peaks: readonly (TilePeak | undefined)[],
  { columns }: TileLayout,
): number[] {
  const inside = peaks.flatMap((one, tile) =>
    one && burst.slice(1, -1).includes(one.best) ? [{ tile, peak: one.peak }] : [],
  );
  inside.sort((one, other) => other.peak - one.peak || one.tile - other.tile);
  const detailless = peaks.flatMap((one, tile) => (one ? [] : [tile]));
  const pitch = Math.max(1, Math.floor(detailless.length / noiseTiles));
  // Border tiles may lie outside the bounds of some frames.
  const noise = detailless.filter((tile, i) => i % pitch === 0 && tile % columns > 0);
  return [...inside.slice(0, detailTiles).map(({ tile }) => tile), ...noise];
}

/** Measures the tiles in one frame, the `at`-th of the burst. */
function measureTiles(
  frame: DecodedFrame,
  matrix: Matrix3,
  { tiles, burst, columns, tilePx }: FullSizePlan,
  at: number,
  energy: Float32Array,
): void {
  const toFrame = invertMatrix(matrix);
  for (const [i, tile] of tiles.entries()) {
    const column = tile % columns;
    const row = (tile - column) / columns;
    const [x, y] = applyMatrix(toFrame, (column + 0.5) * tilePx - 0.5, (row + 0.5) * tilePx - 0.5);
    const measured = measureAt(frame, Math.round(x), Math.round(y));
    if (measured) energy.set(measured, (i * burst.length + at) * directionCount);
  }
}

/** Detail of one full-size tile by direction; undefined where it lies outside. */
function measureAt(decoded: DecodedFrame, x: number, y: number): Float32Array | undefined {
  const side = fineTilePx + 4;
  const left = x - side / 2;
  const top = y - side / 2;
  const { width, height, channels, pixels, bits } = decoded;
  if (left < 0 || top < 0 || left + side > width || top + side > height) return undefined;
  const size = { width: side, height: side };
  const rowBytes = side * channels * pixels.BYTES_PER_ELEMENT;
  const kernels = pieceKernels();
  const [samples, luma, grid] = kernels.take(side * rowBytes, 4 * side * side, gridBytes(size, side));
  const bytes = bytesOf(pixels);
  for (let row = 0; row < side; row++) {
    const start = ((top + row) * width + left) * channels * pixels.BYTES_PER_ELEMENT;
    samples.set(bytes.subarray(start, start + rowBytes), row * rowBytes);
  }
  kernels.encodedLuma({ samples, bits, channels, count: side * side, out: luma });
  return detailAt(luma.byteOffset, size, grid, side).energy;
}

/** Median width of the curves that peak inside the burst, where all frames lie at `positions`. */
function fineWidthOf(
  { tiles, burst }: FullSizePlan,
  energy: Float32Array,
  lightOfTiles: Float32Array,
  positions: readonly number[],
): number | undefined {
  const count = tiles.length;
  if (count === 0) return undefined;
  const frames = burst.length;
  const light = Float32Array.from(tiles, (tile) => lightOfTiles[tile]);
  const curves = focusCurves({ columns: count, rows: 1, tilePx: fineTilePx, frames, energy, light });
  const burstPositions = burst.map((k) => positions[k]);
  const widths = wellFitted(fitFocus(curves, burstPositions).tiles, frames).map(({ width }) => width);
  widths.sort((p, q) => p - q);
  return widths.length < minSample ? undefined : widths[widths.length >> 1];
}
