import { planScratchBytes, tileRows } from '../blend/plan-sources.js';
import { PyramidBlender } from '../blend/pyramid-blender.js';
import { type CurveLevel, statePlanes } from '../focus/focus-curves.js';
import { FocusTracker, stateWindow, workBytes } from '../focus/focus-tracker.js';
import type { Size } from '../image/image.js';
import { levelSizes } from '../image/level-sizes.js';
import { identityMatrix, type Matrix3 } from '../image/transform.js';
import { maxArenaPages, pageBytes, planesLayout } from '../kernels/arena.js';
import { tapTableBytes } from '../kernels/kernels.js';
import { cutBands, mostBands } from '../kernels/row-bands.js';
import { mostRows, type RowBands, type RowWindow } from '../kernels/row-windows.js';
import { tileColumns } from '../model/constants/state.js';
import { fractionBitsFor, needsFrontLayerPlane } from '../surface/depth-index.js';

/** Levels whose focus curves are followed: windows of 5, 10, 20 and 40 px. */
export const focusLevels = 4;
/** Frames of more pixels are placed in one slot: a second one would take much memory for little time. */
const mostOverlapped = 60e6;
/** So few threads are kept busy by decoding while a frame is placed. */
const fewThreads = 4;
/** Roll of a frame for which the scratch of the warp is reckoned; frames of one stack roll less. */
const usualRollRad = 0.05;
/** The filling before the regions of the blend. */
const alignmentBytes = 1 << 13;
/** Tables, and the filling before each region. */
const smallBytes = 1 << 20;

/** Bytes that one memory can hold; tests lower it. */
export const memoryLimit = { bytes: maxArenaPages * pageBytes };

/** What the working memory of a merge depends on. */
export interface ArenaLoad {
  /** Of the frames. */
  size: Size;
  /** Bits of a sample of the frames. */
  bits: 8 | 16;
  frames: number;
  /** Of the composite; default that of the frames. */
  composite?: Size;
  /** Bits of a sample of the composite; default those of the frames. */
  compositeBits?: 8 | 16;
}

/** Frames that lie in the arena at once: two, so that one is put in place while the workers are at the one before. */
export function frameSlots({ width, height }: Size, threads: number): 1 | 2 {
  return threads > fewThreads && width * height <= mostOverlapped ? 2 : 1;
}

/** Scratch of each worker, bytes. */
export function workerScratchBytes(size: Size, frame: Size, frames: number, maxRollRad: number): number {
  return Math.max(
    PyramidBlender.scratchBytes(size, frame, maxRollRad),
    FocusTracker.scratchBytes(frame),
    planScratchBytes(frames),
  );
}

/**
 * As few bands of rows as let each lie in one memory.
 *
 * @param toFrame Composite pixel to frame pixel of every frame.
 * @param scratchBytes Of each worker.
 */
export function fitBands(
  load: ArenaLoad,
  toFrame: readonly Matrix3[],
  threads: number,
  scratchBytes: number,
): RowBands {
  const composite = load.composite ?? load.size;
  const most = mostBands(composite);
  for (let count = 1; count < most; count++) {
    const bands = cutBands(composite, load.size, toFrame, count);
    if (arenaBytes(load, threads, bands, scratchBytes) <= memoryLimit.bytes) return bands;
  }
  return cutBands(composite, load.size, toFrame, most);
}

/** Working memory of a merge, bytes: of all memories that frames of this size take, as far as it is known beforehand. */
export function workingBytes(load: ArenaLoad, threads: number): number {
  const scratch = workerScratchBytes(load.size, load.size, load.frames, usualRollRad);
  const bands = fitBands(load, [identityMatrix], threads, scratch);
  return bands.count * arenaBytes(load, threads, bands, scratch);
}

/**
 * Bytes that a merge takes of each memory of its arena, never less than it does: the regions of `mergeFrames` and of the
 * stations that it calls, under the rule `auto`, which takes the most.
 */
export function arenaBytes(load: ArenaLoad, threads: number, bands: RowBands, scratchBytes: number): number {
  const { size: frame, bits, frames } = load;
  const size = load.composite ?? frame;
  const levels = levelSizes(size);
  const ofFrame = levelSizes(frame);
  const rows = (window: RowWindow, rowBytes: number) => mostRows(window) * rowBytes;
  const band = (level: number, halo = 0) => bands.composite(level, levels[level]?.height ?? 0, halo);
  const planes = (from: number, to: number, count: number, elementBytes: 2 | 4, halo: number) =>
    levels.slice(from, to).reduce((sum, { width }, i) => {
      return sum + planesLayout(width, mostRows(band(from + i, halo)), count, elementBytes).bytes;
    }, 0);
  const area = (level: number, halo = 0) =>
    levels[level] ? rows(band(level, halo), levels[level].width) : 0;

  const slot = rows(bands.frame('samples', 0, frame.height), frame.width * 3 * (bits / 8));
  const reachPlanes = needsFrontLayerPlane(fractionBitsFor(frames)) ? 2 : 1;
  const tiles = Math.ceil(size.width / tileColumns) * Math.ceil(size.height / tileRows);
  const plan = planes(0, 9, 1 + reachPlanes, 2, 0) + 2 * area(0) + tiles * ((frames + 8) >> 3);
  const spill = 10 * area(1);
  const slots = frameSlots(frame, threads) * slot;

  const followed = (finest: CurveLevel) =>
    levels.slice(finest, focusLevels).reduce((sum, { width, height }, level) => {
      const window = stateWindow(bands, level, height, finest);
      return sum + planesLayout(width, mostRows(window), statePlanes(level), 2).bytes;
    }, 0);
  const ofLevel0 = stateWindow(bands, 0, size.height);
  const picks = planesLayout(size.width, mostRows(ofLevel0), statePlanes(0), 2).bytes;
  const curves =
    Math.max(followed(0) + 4 * area(1), picks + followed(1)) +
    workBytes(frame, bands.frame('codes', 0, frame.height), size, ofLevel0);
  const measures = ofFrame.slice(1, focusLevels).reduce((sum, { width, height }, i) => {
    const codes = mostRows(bands.frame('codes', i + 1, height));
    const luma = mostRows(bands.frame('luma', i + 1, height));
    // Beside the codes of level 1 its luma in whole numbers.
    const ofCodes = (i === 0 ? 2 : 1) * planesLayout(width, codes, 1, 2).bytes;
    return sum + ofCodes + planesLayout(width, luma, 1, 4).bytes;
  }, 0);
  // Push and pull go down to one pixel, which adds less than a row of each level. The marks of false rims come on top.
  const surface =
    2 * planes(1, 9, 1, 2, 1) +
    planes(1, focusLevels, 1, 2, 40) +
    planes(1, 2, 1, 2, 40) +
    4 * (size.width + size.height);
  const sources = planes(0, 9, 1, 2, 1) + planes(1, 9, 1, 2, 1) + 56 * frames;
  const maps = 2 * area(0) + 4 * (frames + 1);
  // Cells of all sizes add a third; their tables are small.
  const cells = 32 * area(2, 8) + (size.width * size.height) / 200;

  const half = ofFrame[1] ?? frame;
  const blend =
    tapTableBytes +
    rows(bands.frame('half', 1, half.height), half.width * 16) +
    planes(0, 9, 4, 4, 1) +
    planes(1, 9, 3, 4, 2);
  const out = 3 * area(0) * ((load.compositeBits ?? bits) / 8);
  // Where the curves were lies what fits there: the blend, then frames, then the picture.
  const isWithin = (bytes: number) => bytes + alignmentBytes <= curves;
  const left = isWithin(blend) ? blend : 0;
  const besideCurves =
    blend - left + Math.max(isWithin(left + slots) ? 0 : slots, isWithin(left + out) ? 0 : out);
  return (
    smallBytes +
    threads * scratchBytes +
    curves +
    Math.max(
      slots + measures,
      plan + spill + Math.max(surface, sources, maps, cells),
      plan + spill + besideCurves,
    )
  );
}
