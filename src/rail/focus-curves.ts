import { clearOctaves, minPeakOctaves, minSample } from '../model/constants/model.js';
import { minProminence, nearlyAllShare } from '../model/constants/rail.js';
import { levelAboveNoise, levelOfOctaves } from '../model/optical-model.js';
import { directionCount } from './detail-grid.js';
import type { TileCurves } from './tile-curves.js';
import { noiseEnergy } from './tile-noise.js';

/** Focus curves of the tiles: logarithm of the energy above noise. */
export interface FocusCurves {
  columns: number;
  rows: number;
  frames: number;
  /** (rows * columns, frames): ln of the energy above noise, not below `floor`; NaN outside the frame's bounds. */
  level: Float32Array;
  /** Energy of the noise. */
  noise: number;
  /** Lower limit of the curves: ln of half the noise energy. */
  floor: number;
}

export function focusCurves(curves: TileCurves): FocusCurves {
  const { columns, rows, frames, energy } = curves;
  const noise = noiseEnergy(curves);
  const level = new Float32Array(columns * rows * frames);
  for (let i = 0; i < level.length; i++) {
    const energyAt = (energy[i * directionCount] + energy[i * directionCount + 1]) / 2;
    level[i] = Number.isNaN(energyAt) ? energyAt : levelAboveNoise(energyAt, noise);
  }
  return { columns, rows, frames, level, noise, floor: Math.log(noise / 2) };
}

/** Level from which a tile shows detail above noise. */
export function detectionLevel({ noise }: FocusCurves): number {
  return levelOfOctaves(minPeakOctaves, noise);
}

/** Level from which a tile shows it clearly. */
export function clearLevel({ noise }: FocusCurves): number {
  return levelOfOctaves(clearOctaves, noise);
}

/** Where a tile is sharpest: the frame, by index, and its height, ln energy above noise. */
export interface TilePeak {
  best: number;
  peak: number;
}

/** Peak of each tile as it was sampled; undefined for a tile whose curve has none. */
export function tilePeaks(curves: FocusCurves): (TilePeak | undefined)[] {
  const { frames, level } = curves;
  return Array.from({ length: level.length / frames }, (_, tile) => {
    const best = peakFrame(curves, tile);
    return best === undefined ? undefined : { best, peak: level[tile * frames + best] };
  });
}

/**
 * Index of the frame in which a tile is sharpest, where its curve has a peak: above the noise, and well above its
 * lowest point. Undefined where it has none.
 */
export function peakFrame(curves: FocusCurves, tile: number): number | undefined {
  const { frames, level } = curves;
  const at = tile * frames;
  let best = -1;
  let minimum = Number.POSITIVE_INFINITY;
  for (let k = 0; k < frames; k++) {
    const value = level[at + k];
    if (Number.isNaN(value)) continue;
    if (best < 0 || value > level[at + best]) best = k;
    if (value < minimum) minimum = value;
  }
  const top = level[at + best];
  return best < 0 || top < detectionLevel(curves) || top - minimum < minProminence ? undefined : best;
}

/**
 * Whether nearly all tiles are sharpest in the same two frames, as in a subject thinner than a step.
 *
 * @param peaks Number of tiles that are sharpest in each frame.
 */
export function isThinSubject(peaks: readonly number[]): boolean {
  const all = peaks.reduce((sum, count) => sum + count, 0);
  return all >= minSample && peaks.some((count, k) => count + (peaks[k + 1] ?? 0) >= nearlyAllShare * all);
}

/** Number of tiles that are sharpest in each frame. */
export function peakCounts(curves: FocusCurves): number[] {
  const counts = new Array<number>(curves.frames).fill(0);
  for (let tile = 0; tile * curves.frames < curves.level.length; tile++) {
    const peak = peakFrame(curves, tile);
    if (peak !== undefined) counts[peak]++;
  }
  return counts;
}
