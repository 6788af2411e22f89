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
  const opened = extremes(extremes(filled, raster, radius, Math.max), raster, radius, Math.min);
  raster.depth = before.map((value, i) => {
    if (!(opened[i] - value > maxJump)) return value;
    return Number.isFinite(opened[i]) ? opened[i] : Number.NaN;
  });
  absorbPieces(raster, (pinWidths * minCells) ** 2, maxJump);
  const { depth } = raster;
  const changed = depth.reduce((sum, value, i) => sum + (Object.is(value, before[i]) ? 0 : 1), 0);
  return { changed, minCells };
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
