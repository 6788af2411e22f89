import type { Size } from '../image/image.js';

/**
 * Width below which a thing that stands free is left out of a solid, as a share of the longer side: 0.4 mm of a print of
 * 100 mm, which is as narrow as a common nozzle.
 */
const slenderShare = 0.004;

/** What became of the slender things of a surface. */
export interface Slender {
  /** (rows, cols), units of the given depth; NaN: nothing here. */
  depth: Float32Array;
  /** Cells by which a thing must be wide at least. */
  minCells: number;
  /** Cells that took the depth behind them. */
  dropped: number;
}

/**
 * Takes hairs and the like out of a surface that becomes a solid: there they would be walls down to what lies behind them,
 * too thin to print. It is a grey-scale opening with a square (Serra, Image Analysis and Mathematical Morphology, 1982) of
 * nearness, which counts where it takes away more than a depth edge: ridges and noise of one surface stay as they are.
 *
 * @param depth (rows, cols), NaN: nothing here.
 * @param maxJump Difference from which neighbours are parted by a depth edge.
 */
export function dropSlender(depth: Float32Array, size: Size, maxJump: number): Slender {
  const radius = Math.round((slenderShare / 2) * Math.max(size.width, size.height));
  if (radius < 1) return { depth, minCells: 1, dropped: 0 };
  const filled = depth.map((value) => (Number.isNaN(value) ? Number.POSITIVE_INFINITY : value));
  // Nearer is smaller: what is slender is filled by the greatest depth around, and what remains grows back.
  const opened = extremes(extremes(filled, size, radius, Math.max), size, radius, Math.min);
  let dropped = 0;
  const kept = depth.map((value, i) => {
    if (!(opened[i] - value > maxJump)) return value;
    dropped++;
    return Number.isFinite(opened[i]) ? opened[i] : Number.NaN;
  });
  return { depth: kept, minCells: 2 * radius + 1, dropped };
}

/** The extreme value within `radius` cells along rows and columns; beyond the edges there is nothing. */
function extremes(
  values: Float32Array,
  { width, height }: Size,
  radius: number,
  pick: (first: number, second: number) => number,
): Float32Array {
  const along = (from: Float32Array, count: number, lines: number, step: number, stride: number) => {
    const out = new Float32Array(from.length);
    for (let line = 0; line < lines; line++) {
      const start = line * stride;
      for (let i = 0; i < count; i++) {
        let value = from[start + i * step];
        const to = Math.min(count - 1, i + radius);
        for (let j = Math.max(0, i - radius); j <= to; j++) value = pick(value, from[start + j * step]);
        out[start + i * step] = value;
      }
    }
    return out;
  };
  return along(along(values, width, height, 1, width), height, width, width, 1);
}
