import type { FocusTracker } from '../focus/focus-tracker.js';
import type { Size } from '../image/image.js';
import type { Arena } from '../kernels/arena.js';
import type { SourceRule } from '../merge/options.js';
import type { Matrix3 } from '../register/transform.js';
import type { Surface } from '../surface/surface.js';
import { coarsePlaces } from './coarse-places.js';
import { FrameReach } from './frame-reach.js';
import { levelSizes } from './levels.js';
import type { SourcePlan } from './pyramid-blender.js';

/** Unit of the plan's maps: 1/64 frame. */
const planUnit = 64;
/** A single frame. */
const singleReach = 0.95;
/** The frames next to a peak. */
const peakReach = 1.1;
/** The frames next to the surface: two of them halfway between, hardly more than one at a plane of focus. */
const surfaceReach = 1.2;
/** Where nothing is sharp, more frames are averaged: they hold the same, less noise. */
const flatReach = 2.5;
/** Finest levels at which that pays: noise is fine. */
const flatLevels = 3;
/** Levels whose own peak may overrule the surface in `auto`: a bristle in front of an eye. */
const selectingLevels = 4;
/** ... when it stands this far above noise, octaves, */
const selectRise = 4;
/** ... and is this far from the surface, frames. */
const selectApart = 0.25;

/** Planes for the plan of every level, in the arena. */
export function takePlans(arena: Arena, size: Size): SourcePlan[] {
  return levelSizes(size).map(({ width, height }) => ({
    centre: arena.takePlanes(width, height, 1, 2),
    reach: arena.takePlanes(width, height, 1, 2),
  }));
}

/**
 * Decides for each coefficient of each level which frames it comes from.
 *
 * `weigh`: frames around the surface. `select`: at the followed levels the frame of the largest measure, at
 * coarser ones the surface. `auto`: the surface, but at the finest levels the largest measure where it
 * stands out clearly and means something else than the surface.
 *
 * @param toFrame Composite pixel to frame pixel, by ordinal - 1.
 * @param nearSign Which way along the stack is nearer: see `coarsePlaces`.
 * @returns Ordinal of the frame that supplies the finest detail, (rows, cols).
 */
export function planSources(
  arena: Arena,
  plans: readonly SourcePlan[],
  tracker: FocusTracker,
  surface: Surface,
  toFrame: readonly Matrix3[],
  frame: Size,
  rule: SourceRule,
  nearSign: -1 | 0 | 1,
): Uint16Array {
  const { width: fullWidth, height: fullHeight } = plans[0].centre;
  const frames = toFrame.length;
  const sources = new Uint16Array(fullWidth * fullHeight);
  const places = coarsePlaces(surface.place, levelSizes({ width: fullWidth, height: fullHeight }), nearSign);
  plans.forEach((plan, level) => {
    const { width, height, stride } = plan.centre;
    const centres = arena.planeU16(plan.centre);
    const reaches = arena.planeU16(plan.reach);
    const peaks = surface.peaks[level];
    const state = tracker.state[level];
    const best = level < tracker.levels ? tracker.plane(level, 'bestOrdinal') : undefined;
    const reached = new FrameReach(toFrame, frame, width, level);
    for (let y = 0; y < height; y++) {
      reached.enterRow(y);
      const row = Math.min(fullHeight - 1, y << level) * fullWidth;
      for (let x = 0; x < width; x++) {
        const i = row + Math.min(fullWidth - 1, x << level);
        let centre = places[level][y * width + x];
        let reach = surfaceReach;
        if (level < flatLevels) reach = Math.max(reach, 1 + (1 - surface.confidence[i]) * (flatReach - 1));
        if (rule === 'select' && best) {
          centre = best[y * state.stride + x] || centre;
          reach = singleReach;
        } else if (rule === 'auto' && level < selectingLevels && peaks) {
          const o = y * width + x;
          if (peaks.rise[o] > selectRise && Math.abs(peaks.place[o] - centre) > selectApart) {
            centre = peaks.place[o];
            reach = peakReach;
          }
        }
        centre = reached.admit(x, Math.max(1, Math.min(frames, centre)), reach);
        centres[y * stride + x] = Math.round(centre * planUnit);
        reaches[y * stride + x] = Math.round(reach * planUnit);
        if (level === 0) sources[i] = reached.nearest(x, centre);
      }
    }
  });
  return sources;
}
