import { median } from '../image/median.js';
import {
  confirmedSigmas,
  extremeShare,
  maxShakenSharpness,
  minClearChange,
  outlierSigmas,
} from '../model/constants/model.js';
import { minAnisotropy } from '../model/constants/rail.js';
import { medianLength } from '../model/constants/register.js';
import type { FrameMotion } from '../register/motion-solution.js';
import type { FocusCurves } from './focus-curves.js';
import { shapesAt } from './rail-travel.js';
import type { FrameShake } from './shake.js';

/** Indices of frames that are blurred as a whole. */
export function blurredFrames(
  shakes: readonly FrameShake[],
  frames: readonly FrameMotion[],
  curves: FocusCurves,
): Set<number> {
  const anisotropies = shakes.map((shake) => (Number.isNaN(shake.anisotropy) ? 0 : shake.anisotropy));
  /** Larger ones are outliers of two components that scatter like those of all frames. */
  const maxUsual = (outlierSigmas / medianLength) * median(Float64Array.from(anisotropies));
  /**
   * Median dip of the other frames: a thin subject comes into focus in so few that a shaken frame would raise its own
   * reference.
   */
  const typicalDip = (k: number) => {
    const others = shakes.flatMap(({ dip }, i) => (i === k || Number.isNaN(dip) ? [] : [dip]));
    return others.length > 0 ? median(Float64Array.from(others)) : -minClearChange;
  };
  const blurred = shakes.flatMap(({ dip, anisotropySigma }, k) => {
    const isPeak = anisotropies[k] >= Math.max(anisotropies[k - 1] ?? 0, anisotropies[k + 1] ?? 0);
    const isEnd = k === 0 || k === shakes.length - 1;
    // Next to an end, and beside a thin subject, too few tiles may come into focus to show a dip.
    const isAlone = isEnd || Number.isNaN(dip);
    const isSoft = frames[k].sharpness < maxShakenSharpness;
    const isSignificant = anisotropies[k] > (isSoft ? confirmedSigmas : outlierSigmas) * anisotropySigma;
    const directional = isPeak && isSignificant && anisotropies[k] > Math.max(minAnisotropy, maxUsual);
    const shakenAlong = directional && (isAlone || dip > typicalDip(k) + minClearChange);
    // Without a direction that says so too it must be an octave.
    const shakenAllRound = dip > 2 * minClearChange && isSoft;
    // Where the rail turns, some tiles dip but others peak; in a shaken frame hardly any tile peaks.
    if (!isEnd && (shakenAlong || shakenAllRound) && shapesAt(curves, k - 1, k, k + 1).crests >= extremeShare)
      return [];
    return shakenAlong || shakenAllRound ? [k] : [];
  });
  return new Set(blurred);
}
