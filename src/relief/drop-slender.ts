import type { Size } from '../image/image.js';
import { absorbPieces } from './remove-specks.js';
import type { SurfaceRaster } from './surface-raster.js';

/**
 * Width below which a thing that stands free is left out of a solid, as a share of the longer side: 0.4 mm of a print of
 * 100 mm, which is as narrow as a common nozzle.
 */
const slenderShare = 0.004;

/** A piece smaller than a square of so many of these widths a side stands free as a pin, as where hairs cross. */
const pinWidths = 5;

/**
 * Takes hairs and the like out of a surface that becomes a solid: there they would be walls down to what lies behind them,
 * too thin to print. It is a grey-scale opening with a square (Serra, Image Analysis and Mathematical Morphology, 1982) of
 * nearness, which counts where it takes away more than a depth edge: ridges and noise of one surface stay as they are.
 * What is left of them in small pieces goes too.
 *
 * @param maxJump Difference from which neighbours are parted by a depth edge.
 * @returns The cells that were changed, and how many cells wide a thing must be at least.
 */
export function dropSlender(raster: SurfaceRaster, maxJump: number): { changed: number; minCells: number } {
  const radius = Math.round((slenderShare / 2) * Math.max(raster.width, raster.height));
  const minCells = 2 * radius + 1;
  if (radius < 1) return { changed: 0, minCells };
  const before = raster.depth;
  const filled = before.map((value) => (Number.isNaN(value) ? Number.POSITIVE_INFINITY : value));
  // Nearer is smaller: what is slender is filled by the greatest depth around, and what remains grows back.
  const opened = extremes(extremes(filled, raster, radius, 1), raster, radius, -1);
  raster.depth = before.map((value, i) => {
    if (!(opened[i] - value > maxJump)) return value;
    return Number.isFinite(opened[i]) ? opened[i] : Number.NaN;
  });
  absorbPieces(raster, (pinWidths * minCells) ** 2, maxJump);
  const { depth } = raster;
  const changed = depth.reduce((sum, value, i) => sum + (Object.is(value, before[i]) ? 0 : 1), 0);
  return { changed, minCells };
}

/** The greatest (`sign` 1) or least (-1) value within `radius` cells along rows and columns; beyond the edges there is nothing. */
function extremes(values: Float32Array, { width, height }: Size, radius: number, sign: 1 | -1): Float32Array {
  const inRows = values.slice();
  const out = new Float32Array(values.length);
  // Whole rows at a time, for columns too: a column after the other would leave the cache with every cell.
  const take = (into: Float32Array, at: number, from: Float32Array, start: number, count: number) => {
    for (let i = 0; i < count; i++) {
      const value = from[start + i];
      if (sign * value > sign * into[at + i]) into[at + i] = value;
    }
  };
  for (let y = 0; y < height; y++) {
    const row = y * width;
    for (let off = 1; off <= radius && off < width; off++) {
      take(inRows, row, values, row + off, width - off);
      take(inRows, row + off, values, row, width - off);
    }
  }
  for (let y = 0; y < height; y++) {
    const row = y * width;
    out.set(inRows.subarray(row, row + width), row);
    for (let other = Math.max(0, y - radius); other <= Math.min(height - 1, y + radius); other++) {
      take(out, row, inRows, other * width, width);
    }
  }
  return out;
}
