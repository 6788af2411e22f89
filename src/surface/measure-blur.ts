import type { CurveBends } from '../focus/focus-curves.js';
import { bestBend, measuredFrequency, noiseBend } from '../model/constants/surface.js';
import { blurOfBend, lossOfBend } from '../model/optical-model.js';
import { innerBend } from './curve-bend.js';

/**
 * Radius of the blur, one frame away from a pixel's plane of focus, px: from how sharply focus curves bend at their
 * peaks. To be asked before the surface is made of the tracker's state. Undefined when too few curves tell.
 */
export function measureBlur(tracker: CurveBends, frames: number): number | undefined {
  let blur: number | undefined;
  let least = Infinity;
  for (let level = 0; level < tracker.levels; level++) {
    const bend = clearBend(tracker, level, frames);
    if (bend === undefined) continue;
    const off = Math.abs(Math.log(bend / bestBend));
    if (off >= least) continue;
    least = off;
    blur = blurOfBend(bend - noiseBend, measuredFrequency) * 2 ** (level + tracker.finest);
  }
  return blur;
}

/**
 * Part of its contrast that detail of the finest level loses one frame away from its plane of focus, to second order:
 * from how sharply that level's own focus curves bend, whatever its detail is made of and whatever the lens does to it.
 * Steps too long for second order are measured too small. To be asked as `measureBlur`; 0 when too few curves tell.
 */
export function measureLoss(tracker: CurveBends, frames: number): number {
  const bend = clearBend(tracker, 0, frames);
  if (bend === undefined) return 0;
  return lossOfBend(bend - noiseBend);
}

/** The median bend of a level's curves where it is more than noise makes; undefined when too few curves tell. */
function clearBend(tracker: CurveBends, level: number, frames: number): number | undefined {
  const bend = innerBend(tracker, level, frames);
  return bend !== undefined && bend > 1.5 * noiseBend ? bend : undefined;
}
