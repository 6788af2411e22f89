import { minClearChange, mixedTileSigma } from '../model/constants/model.js';
import { aheadFrames } from '../model/constants/rail.js';
import { falloffAt } from '../model/optical-model.js';
import { detectionLevel, type FocusCurves } from './focus-curves.js';

/** Trial distances, usual steps: from the last frame to where flanks are too flat to measure. */
const trialDistances = Array.from({ length: 28 }, (_, i) => 0.5 * 1.17 ** i);

/**
 * How far beyond the last frame the tiles lie that have not been in focus yet, but whose curves rise towards it. Far
 * from focus a curve of the half width w falls as d^-3 with the distance d (`falloffAt`), so that its slope, 3 / d a
 * step, gives the distance whatever its height.
 *
 * @param positions Of the frames of the curves, usual steps.
 * @param width Half width of the curves, usual steps.
 * @returns One distance a tile, usual steps. Tiles too far from focus to rise above the noise are not among them.
 */
export function focusAhead(curves: FocusCurves, positions: readonly number[], width: number): number[] {
  const { frames, level } = curves;
  const clear = detectionLevel(curves);
  const used = Array.from({ length: aheadFrames }, (_, i) => frames - aheadFrames + i);
  const found: number[] = [];
  for (let tile = 0; tile * frames < level.length; tile++) {
    const at = tile * frames;
    if (!used.every((k) => level[at + k] > clear)) continue;
    let top = Number.NEGATIVE_INFINITY;
    // NaN, outside a frame's bounds, is never larger.
    for (let k = 0; k < frames; k++) if (level[at + k] > top) top = level[at + k];
    const last = level[at + frames - 1];
    // At its peak already, or behind it.
    if (last < top || last - level[at + used[0]] < minClearChange) continue;
    const fit = fitDistance(
      used.map((k) => level[at + k]),
      used.map((k) => positions[frames - 1] - positions[k]),
      width,
    );
    if (fit.error < mixedTileSigma) found.push(fit.distance);
  }
  return found;
}

/** @param back Distance of each sample from the last frame, usual steps. */
function fitDistance(
  samples: readonly number[],
  back: readonly number[],
  width: number,
): { distance: number; error: number } {
  let best = { distance: 0, error: Number.POSITIVE_INFINITY };
  for (const distance of trialDistances) {
    const residuals = samples.map((sample, i) => sample - falloffAt(distance + back[i], width));
    const height = residuals.reduce((sum, value) => sum + value, 0) / residuals.length;
    const square = residuals.reduce((sum, value) => sum + (value - height) ** 2, 0);
    const error = Math.sqrt(square / residuals.length);
    if (error < best.error) best = { distance, error };
  }
  return best;
}
