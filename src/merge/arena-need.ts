import { planScratchBytes, tileRows } from '../blend/plan-sources.js';
import { PyramidBlender } from '../blend/pyramid-blender.js';
import { FocusTracker } from '../focus/focus-tracker.js';
import type { Size } from '../image/image.js';
import { levelSizes } from '../image/level-sizes.js';
import { maxArenaPages, pageBytes, planesLayout } from '../kernels/arena.js';
import { tapTableBytes } from '../kernels/kernels.js';
import { tileColumns } from '../model/constants/state.js';
import { fractionBitsFor, needsFrontLayerPlane } from '../surface/depth-index.js';

/** Levels whose focus curves are followed: windows of 5, 10, 20 and 40 px. */
export const focusLevels = 4;
/** Frames of more pixels leave no room for a second one in the arena. */
const mostOverlapped = 60e6;
/** Roll of a frame for which the scratch of the warp is reckoned; frames of one stack roll less. */
const usualRollRad = 0.05;
/** Tables, and the filling before each region. */
const smallBytes = 1 << 20;

export const maxArenaBytes = maxArenaPages * pageBytes;

/** Frames that lie in the arena at once: two, so that one is put in place while the workers are at the one before. */
export function frameSlots({ width, height }: Size): 1 | 2 {
  return width * height <= mostOverlapped ? 2 : 1;
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
 * Bytes that a merge takes of its arena, never less than it does: the regions of `mergeFrames` and of the stations that it
 * calls, for a composite of the frames' size under the rule `auto`, which takes the most.
 */
export function arenaBytes(
  { size, bits, frames }: { size: Size; bits: 8 | 16; frames: number },
  threads: number,
): number {
  const pixels = size.width * size.height;
  const levels = levelSizes(size);
  const planes = (from: number, to: number, count: number, elementBytes: 2 | 4) =>
    levels
      .slice(from, to)
      .reduce((sum, { width, height }) => sum + planesLayout(width, height, count, elementBytes).bytes, 0);
  const area = (level: number) => (levels[level] ? levels[level].width * levels[level].height : 0);

  const slots = frameSlots(size) * pixels * 3 * (bits / 8);
  const scratch = threads * workerScratchBytes(size, size, frames, usualRollRad);
  const reachPlanes = needsFrontLayerPlane(fractionBitsFor(frames)) ? 2 : 1;
  const tiles = Math.ceil(size.width / tileColumns) * Math.ceil(size.height / tileRows);
  const plan = planes(0, 9, 1, 2) + planes(0, 9, reachPlanes, 2) + 2 * pixels + tiles * ((frames + 8) >> 3);
  const spill = 10 * area(1);
  const kept = smallBytes + slots + scratch + plan + spill;

  const tracker =
    planes(0, 1, 11, 2) +
    planes(1, focusLevels, 9, 2) +
    planes(0, 1, 2, 2) +
    planes(1, focusLevels, 1, 2) +
    planes(1, focusLevels, 1, 4) +
    4 * area(1);
  // Push and pull go down to one pixel, which adds less than a row of each level.
  const surface = 2 * planes(1, 9, 1, 2) + planes(1, focusLevels, 1, 2) + 4 * (size.width + size.height);
  const sources = planes(0, 9, 1, 2) + planes(1, 9, 1, 2) + 56 * frames;
  const maps = 2 * pixels + 4 * (frames + 1);
  // Cells of all sizes add a third; their tables are small.
  const cells = 32 * area(2) + pixels / 200;
  const focus = tracker + Math.max(surface, sources, maps, cells);

  const blend =
    tapTableBytes + 16 * area(1) + planes(0, 9, 4, 4) + planes(1, 9, 3, 4) + 3 * pixels * (bits / 8);
  return kept + Math.max(focus, blend);
}
