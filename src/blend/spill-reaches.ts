import type { Size } from '../image/image.js';

/** Side of a block, px; and in cells of 4 px. */
const blockPx = 32;
const blockCells = blockPx / 4;

/**
 * Radius, px, in which spill into each block of 32 px is to be searched for: the largest blur radius of nearer things
 * in the frames focused on the block's farthest depth, of those whose blur extends to the block; 0 where none does.
 *
 * @param cells A row of cells of 4 px, see assembly/spill.ts: twelve u16 each; the ninth and the tenth are depth indices.
 * @param limits gap: minimum difference in depth between what spills and what lies behind, stored units. pxPerUnit:
 *   growth of the blur radius.
 * @returns `blocks` values a row.
 */
export function spillReaches(
  cells: (y: number) => Uint16Array,
  { width, height }: Size,
  limits: { gap: number; nearSign: -1 | 1; pxPerUnit: number; maxReachPx: number },
): { reaches: Float32Array; blocks: number } {
  const { gap, nearSign, pxPerUnit, maxReachPx } = limits;
  const blocks = Math.ceil(width / blockCells);
  const rows = Math.ceil(height / blockCells);
  const nearest = new Float64Array(blocks * rows).fill(Infinity);
  const farthest = new Float64Array(blocks * rows).fill(-Infinity);
  for (let y = 0; y < height; y++) {
    const row = Math.floor(y / blockCells) * blocks;
    const values = cells(y);
    for (let x = 0, i = 0; x < width; x++, i += 12) {
      const block = row + Math.floor(x / blockCells);
      const front = nearSign * values[i + 8];
      const rest = nearSign * values[i + 9];
      if (front === 0) continue;
      if (front < nearest[block]) nearest[block] = front;
      const last = rest === 0 ? front : rest;
      if (last > farthest[block]) farthest[block] = last;
    }
  }
  const around = Math.ceil(maxReachPx / blockPx);
  const reaches = new Float32Array(blocks * rows);
  for (let y = 0; y < rows; y++) {
    for (let x = 0; x < blocks; x++) {
      const far = farthest[y * blocks + x];
      let reach = 0;
      for (let v = Math.max(0, y - around); v <= Math.min(rows - 1, y + around); v++) {
        for (let u = Math.max(0, x - around); u <= Math.min(blocks - 1, x + around); u++) {
          const nearer = far - nearest[v * blocks + u];
          if (!(nearer > gap)) continue;
          const radius = Math.min(maxReachPx, nearer * pxPerUnit);
          const apart =
            blockPx * Math.hypot(Math.max(0, Math.abs(u - x) - 1), Math.max(0, Math.abs(v - y) - 1));
          if (radius > reach && radius >= apart) reach = radius;
        }
      }
      reaches[y * blocks + x] = reach;
    }
  }
  return { reaches, blocks };
}
