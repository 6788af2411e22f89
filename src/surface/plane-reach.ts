import type { CurveBends } from '../focus/focus-curves.js';
import { endReach, gapFall, peakPower, usualBend } from '../model/constants/model.js';
import { distanceOfFalloff, widthOfBend } from '../model/optical-model.js';
import { medianBend } from './curve-bend.js';

/** Least that a frame reaches, steps: half a usual step, which every stack has; most is as beyond its ends. */
const least = 0.5;

/**
 * How far from a frame's plane of focus, in usual steps, what it shows counts as sharp: by the usual bend of the focus
 * curves at the finest level that has enough of them. Reads the state of the tracker, which later steps overwrite.
 *
 * @param steps Distance of each frame but the last to the next, in usual steps; curves about long ones are not asked.
 */
export function planeReach(tracker: CurveBends, steps: readonly number[], longStep: number): number {
  const isPlain = Uint8Array.from({ length: steps.length + 2 }, (_, ordinal) =>
    Number((steps[ordinal - 2] ?? longStep) < longStep && (steps[ordinal - 1] ?? longStep) < longStep),
  );
  for (let level = 0; level < tracker.levels; level++) {
    const bend = medianBend(tracker, level, isPlain);
    if (bend !== undefined) return bounded(bend);
  }
  return bounded(usualBend);
}

function bounded(bend: number): number {
  const distance = distanceOfFalloff(gapFall * Math.LN2, widthOfBend(bend), peakPower);
  return Math.min(endReach, Math.max(least, distance));
}
