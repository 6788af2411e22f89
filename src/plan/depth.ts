import {
  closeUpDepth,
  combinedDepthMm,
  type DepthLimits,
  geometricDepth,
  waveDepthMm,
} from '../optics/depth-of-field.js';
import type { PlanLens } from './lens.js';
import type { PlanCircle } from './sensor.js';

/** Depth of field of one frame, each with the formula it is from. */
export interface PlanDepth {
  geometric: DepthLimits & { formula: string };
  wave: { totalMm: number; formula: string };
  combined: { totalMm: number; formula: string };
}

export function planDepth(
  lens: Pick<
    PlanLens,
    | 'magnification'
    | 'focalLengthMm'
    | 'pupilRatio'
    | 'markedFNumber'
    | 'effectiveFNumber'
    | 'numericalAperture'
  >,
  circle: PlanCircle,
  wavelengthNm: number,
): PlanDepth {
  const { magnification, focalLengthMm, pupilRatio, markedFNumber } = lens;
  // The exact formula needs focal length and pupils; of an objective only the cone of light is known.
  const exact = focalLengthMm !== null && markedFNumber !== null;
  const limits = exact
    ? geometricDepth({
        focalLengthMm,
        fNumber: markedFNumber,
        magnification,
        pupilRatio,
        circleMm: circle.mm,
      })
    : closeUpDepth(lens.effectiveFNumber, magnification, circle.mm);
  const waveMm = waveDepthMm(wavelengthNm, lens.numericalAperture);
  return {
    geometric: {
      ...limits,
      formula: exact ? '2 f (1/m + 1/P) / (f m / (N c) - N c / (f m))' : '2 c Neff / m² = c / (m NA)',
    },
    wave: { totalMm: waveMm, formula: 'λ / NA², NA = m / (2 Neff)' },
    combined: { totalMm: combinedDepthMm(waveMm, limits.totalMm), formula: 'geometric + wave-optical' },
  };
}
