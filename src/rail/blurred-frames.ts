import { median } from '../image/median.js';
import {
  confirmedSigmas,
  maxShakenSharpness,
  minClearChange,
  outlierSigmas,
} from '../model/constants/model.js';
import { minAnisotropy } from '../model/constants/rail.js';
import { medianLength } from '../model/constants/register.js';
import type { FrameMotion } from '../register/motion-solution.js';
import type { FrameShake } from './shake.js';

/** Indices of frames that are blurred as a whole. */
export function blurredFrames(shakes: readonly FrameShake[], frames: readonly FrameMotion[]): Set<number> {
  const anisotropies = shakes.map((shake) => (Number.isNaN(shake.anisotropy) ? 0 : shake.anisotropy));
  /** Larger ones are outliers of two components that scatter like those of all frames. */
  const maxUsual = (outlierSigmas / medianLength) * median(Float64Array.from(anisotropies));
  const blurred = shakes.flatMap(({ dip, anisotropySigma }, k) => {
    const isPeak = anisotropies[k] >= Math.max(anisotropies[k - 1] ?? 0, anisotropies[k + 1] ?? 0);
    const isEnd = k === 0 || k === shakes.length - 1;
    // Next to an end, and beside a thin subject, too few tiles may come into focus to show a dip.
    const isAlone = isEnd || Number.isNaN(dip);
    const isSoft = frames[k].sharpness < maxShakenSharpness;
    const isSignificant = anisotropies[k] > (isSoft ? confirmedSigmas : outlierSigmas) * anisotropySigma;
    const directional = isPeak && isSignificant && anisotropies[k] > Math.max(minAnisotropy, maxUsual);
    const shakenAlong = directional && (isAlone || dip > 0);
    // Without a direction that says so too it must be an octave.
    const shakenAllRound = dip > 2 * minClearChange && isSoft;
    return shakenAlong || shakenAllRound ? [k] : [];
  });
  return new Set(blurred);
}
