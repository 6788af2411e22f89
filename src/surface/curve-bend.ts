import type { CurveBends } from '../focus/focus-curves.js';
import { median } from '../image/median.js';
import { clearOctaves } from '../model/constants/model.js';
import { codesPerOctave } from '../model/constants/state.js';
import { minCurves } from '../model/constants/surface.js';

/**
 * Octaves that the focus curves of a level lose over a frame to either side of their peaks, together: the median of
 * those that stand out from noise. To be asked before the surface is made of the tracker's state. Undefined when too
 * few stand out.
 *
 * @param isAsked By ordinal from 1, which frames' peaks are asked: 0 where a neighbour is missing or far away.
 */
export function medianBend(curves: CurveBends, level: number, isAsked: Uint8Array): number | undefined {
  const { best, before, after, bestOrdinal } = curves.grid(level);
  const floor = Math.max(...curves.noiseCodes(level)) + clearOctaves * codesPerOctave;
  const bends = new Float64Array(best.length);
  let count = 0;
  for (let i = 0; i < best.length; i++) {
    if (best[i] < floor || !isAsked[bestOrdinal[i]] || !before[i] || !after[i]) continue;
    bends[count++] = (2 * best[i] - before[i] - after[i]) / codesPerOctave;
  }
  return count < minCurves ? undefined : median(bends, count);
}

/** The median bend of a level's curves that peak in frames with a neighbour on both sides. */
export function innerBend(curves: CurveBends, level: number, frames: number): number | undefined {
  return curves.bends ? curves.bends[level] : medianBend(curves, level, innerFrames(frames));
}

/** All frames but the first and the last, which have a neighbour on one side only. */
export function innerFrames(frames: number): Uint8Array {
  return Uint8Array.from({ length: frames + 1 }, (_, ordinal) => Number(ordinal > 1 && ordinal < frames));
}
