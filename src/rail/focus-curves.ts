import { directionCount } from './detail-grid.js';
import type { TileCurves } from './tile-curves.js';
import { noiseOf } from './tile-noise.js';

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

/** Where a tile stands above this multiple of the noise it tells of focus. */
export const clearOfNoise = 2.5;

export function focusCurves(curves: TileCurves): FocusCurves {
  const { columns, rows, tilePx, frames, energy } = curves;
  const noise = noiseOf(curves);
  const level = new Float32Array(columns * rows * frames);
  for (let i = 0; i < level.length; i++) {
    const value = (energy[i * directionCount] + energy[i * directionCount + 1]) / 2;
    level[i] = Number.isNaN(value) ? value : Math.log(Math.max(value - noise, noise / 2));
  }
  return { columns, rows, tilePx, frames, level, noise, least: Math.log(noise / 2) };
}

/** Level from which a tile is clear of the noise. */
export function clearLevel({ noise }: FocusCurves): number {
  return Math.log((clearOfNoise - 1) * noise);
}

/** A curve must rise this far over its lowest point to have a peak, ln energy: about two octaves. */
const leastRise = 1.4;

/**
 * Index of the frame in which a tile shows most, where its curve has a peak: clear of the noise, and well above its
 * lowest point. Undefined where it has none.
 */
export function peakFrame(curves: FocusCurves, tile: number): number | undefined {
  const { frames, level } = curves;
  const at = tile * frames;
  let best = -1;
  let lowest = Number.POSITIVE_INFINITY;
  for (let k = 0; k < frames; k++) {
    const value = level[at + k];
    if (Number.isNaN(value)) continue;
    if (best < 0 || value > level[at + best]) best = k;
    if (value < lowest) lowest = value;
  }
  const top = level[at + best];
  return best < 0 || top < clearLevel(curves) || top - lowest < leastRise ? undefined : best;
}
