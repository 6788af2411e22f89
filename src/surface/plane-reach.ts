import { codesPerOctave, type FocusTracker } from '../focus/focus-tracker.js';
import { median } from '../image/median.js';

/** A frame no longer shows a pixel sharp where its measure has fallen so far, octaves; as `gapFall` in assembly/peaks.ts. */
const gapFall = 0.35;
/** Curves that stand this far above noise tell their bend, octaves. */
const clearRise = 2;
/** About so many pixels of a level are looked at, and fewer curves than this tell nothing. */
const samples = 60_000;
const fewestCurves = 200;
/** Bend of a curve where nothing tells it, octaves a step squared. */
const usualBend = 0.5;
/** Least and most that a frame reaches, steps: half a usual step, which every stack has, and as beyond its ends. */
const least = 0.5;
const most = 0.75;

/**
 * How far from a frame's plane of focus, in usual steps, what it shows counts as sharp: by the usual bend of the focus
 * curves at the finest level that has enough of them. Reads the state of the tracker, which later steps overwrite.
 *
 * @param steps Distance of each frame but the last to the next, in usual steps; curves about long ones are not asked.
 */
export function planeReach(tracker: FocusTracker, steps: readonly number[], longStep: number): number {
  const isPlain = Uint8Array.from({ length: steps.length + 2 }, (_, ordinal) =>
    Number((steps[ordinal - 2] ?? longStep) < longStep && (steps[ordinal - 1] ?? longStep) < longStep),
  );
  for (let level = 0; level < tracker.levels; level++) {
    const bends = curveBends(tracker, level, isPlain);
    if (bends.length < fewestCurves) continue;
    // Energy falls from the peak as (1 + (distance / width)^2)^-2: the bend is what is lost a step before and after it.
    const perStep = 2 ** (median(Float64Array.from(bends)) / 4) - 1;
    return bounded(perStep);
  }
  return bounded(2 ** (usualBend / 4) - 1);
}

function bounded(perStep: number): number {
  return Math.min(most, Math.max(least, Math.sqrt((2 ** (gapFall / 2) - 1) / perStep)));
}

/** Octaves that curves lose over a step to either side of their peak, together. */
function curveBends(tracker: FocusTracker, level: number, isPlain: Uint8Array): number[] {
  const { width, height, stride } = tracker.state[level];
  const [best, before, after, ordinals] = (['best', 'before', 'after', 'bestOrdinal'] as const).map((name) =>
    tracker.plane(level, name),
  );
  const floor = Math.max(...tracker.noiseCodes(level)) + clearRise * codesPerOctave;
  const every = Math.max(1, Math.floor(Math.sqrt((width * height) / samples)));
  const bends: number[] = [];
  for (let y = 0; y < height; y += every) {
    for (let i = y * stride; i < y * stride + width; i += every) {
      if (best[i] < floor || before[i] === 0 || after[i] === 0 || !isPlain[ordinals[i]]) continue;
      bends.push((2 * best[i] - before[i] - after[i]) / codesPerOctave);
    }
  }
  return bends;
}
