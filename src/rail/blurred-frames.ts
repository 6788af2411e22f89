import { median } from '../image/median.js';
import type { FrameMotion } from '../register/motion-solution.js';
import type { FocusCurves } from './focus-curves.js';
import { shapesAt } from './rail-travel.js';
import type { FrameShake } from './shake.js';

/** A frame that is less sharp by so much along one direction is shaken: at the ends alone, elsewhere with the dip that goes with it. */
const clearUneven = 0.155;
const slightUneven = 0.13;
/** How many times the usual of the stack it must be. */
const unevenRatio = 3;
/** The same for the frames at both ends, which have a neighbour on one side only. */
const endUnevenRatio = 4;
const slightDip = 0.35;
/** How many of its standard errors it must be, as few tiles speak where little is in focus; fewer where registration finds the frame soft too. */
const unevenErrors = 3.5;
const softUnevenErrors = 2;
/** Loss in all directions that tells a shake without a direction. */
const clearDip = 0.9;
const softFrame = 0.75;
const fewCrests = 0.12;
/** Indices of frames that are blurred as a whole. */
export function blurredFrames(
  shakes: readonly FrameShake[],
  frames: readonly FrameMotion[],
  curves: FocusCurves,
): Set<number> {
  const uneven = shakes.map((shake) => (Number.isNaN(shake.uneven) ? 0 : shake.uneven));
  const usual = median(Float64Array.from(uneven));
  /** Of the frames but one: a thin subject comes into focus in so few that a shaken one would count for itself. */
  const usualDip = (k: number) => {
    const others = shakes.flatMap(({ dip }, i) => (i === k || Number.isNaN(dip) ? [] : [dip]));
    return others.length > 0 ? median(Float64Array.from(others)) : -slightDip;
  };
  const blurred = shakes.flatMap(({ dip, unevenError }, k) => {
    const isMost = uneven[k] >= Math.max(uneven[k - 1] ?? 0, uneven[k + 1] ?? 0);
    const isEnd = k === 0 || k === shakes.length - 1;
    // Next to an end, and beside a thin subject, too few tiles may come into focus to show a dip.
    const isAlone = isEnd || Number.isNaN(dip);
    const isSoft = frames[k].sharpness < softFrame;
    const isSure = uneven[k] > (isSoft ? softUnevenErrors : unevenErrors) * unevenError;
    const oneWay = isMost && isSure && uneven[k] > (isAlone ? endUnevenRatio : unevenRatio) * usual;
    const along =
      oneWay &&
      uneven[k] > (isAlone ? clearUneven : slightUneven) &&
      (isAlone || dip > usualDip(k) + slightDip);
    const around = dip > clearDip && isSoft;
    // Where the rail turns tiles dip too, but others crest; after a shake hardly one does.
    if (!isEnd && (along || around) && shapesAt(curves, k - 1, k, k + 1).crests >= fewCrests) return [];
    return along || around ? [k] : [];
  });
  return new Set(blurred);
}
