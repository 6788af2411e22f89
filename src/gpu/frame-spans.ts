import { FrameReach } from '../image/frame-reach.js';
import type { Size } from '../image/image.js';
import type { Matrix3 } from '../image/transform.js';
import type { Gpu } from './device.js';
import type { GpuPlanes } from './planes.js';

/**
 * Columns of each row of a level that frames reach: those that all reach, then those of each by ordinal, from and past the
 * end, 32 bits. Computed here, for kernels have no numbers that place an edge in a large frame exactly.
 *
 * @param margin Pixels of the level: see `frameTable`.
 */
export function takeSpans(
  gpu: Gpu,
  toFrame: readonly Matrix3[],
  frame: Size,
  { width, height }: Size,
  level: number,
  margin?: (m: Matrix3) => number,
): GpuPlanes {
  const spans = gpu.takePlanes(2 * (toFrame.length + 1), height, 1, 4);
  const words = new Uint32Array(spans.bytes / 4);
  const reach = new FrameReach(toFrame, frame, width, level, margin);
  for (let y = 0, at = 0; y < height; y++, at += spans.rowWords) {
    reach.enterRow(y);
    words[at] = reach.allFrom;
    words[at + 1] = reach.allTo;
    for (let k = 0; k < toFrame.length; k++) {
      words[at + 2 * k + 2] = reach.from[k];
      words[at + 2 * k + 3] = reach.to[k];
    }
  }
  gpu.writeTable(spans.buffer, words);
  return spans;
}
