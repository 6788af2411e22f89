import { directionCount } from './detail-grid.js';
import type { TileCurves } from './tile-curves.js';

/** Focus curves of the tiles: how much stands out of the noise, as logarithm. */
export interface FocusCurves {
  columns: number;
  rows: number;
  tilePx: number;
  frames: number;
  /** (rows * columns, frames): ln of the energy above noise, not below `least`; NaN where the frame does not reach. */
  level: Float32Array;
  /** Energy of the noise. */
  noise: number;
  /** Where curves end in noise: ln of half the noise's energy. */
  least: number;
}

/** Part of the tiles, by their least energy over the stack, that show noise alone in some frame. */
const plainPart = 0.1;
/** Energy of rounding to 8 bits, which pictures without noise still have. */
const roundingEnergy = 0.3;
/** Where a tile stands above this multiple of the noise it tells of focus. */
export const clearOfNoise = 2.5;

export function focusCurves({ columns, rows, tilePx, frames, energy }: TileCurves): FocusCurves {
  const tiles = columns * rows;
  const level = new Float32Array(tiles * frames);
  const lows: number[] = [];
  for (let tile = 0; tile < tiles; tile++) {
    let low = Number.POSITIVE_INFINITY;
    for (let k = 0; k < frames; k++) {
      const at = (tile * frames + k) * directionCount;
      const value = (energy[at] + energy[at + 1]) / 2;
      level[tile * frames + k] = value;
      if (value < low) low = value;
    }
    if (Number.isFinite(low)) lows.push(low);
  }
  lows.sort((p, q) => p - q);
  const noise = Math.max(roundingEnergy, lows[Math.floor(plainPart * lows.length)] ?? 0);
  const least = Math.log(noise / 2);
  for (let i = 0; i < level.length; i++) {
    if (!Number.isNaN(level[i])) level[i] = Math.log(Math.max(level[i] - noise, noise / 2));
  }
  return { columns, rows, tilePx, frames, level, noise, least };
}

/** Level from which a tile is clear of the noise. */
export function clearLevel({ noise }: FocusCurves): number {
  return Math.log((clearOfNoise - 1) * noise);
}
