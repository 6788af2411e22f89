import {
  airyDiameterUm,
  cutoffPerMm,
  perfectContrast,
  pixelLimitedFNumber,
  pixelsPerPeriod,
} from '../optics/diffraction.js';
import { convertLength } from '../optics/units.js';

/** Limits of sharpness by diffraction on the sensor. */
export interface PlanSharpness {
  airyUm: number;
  /** Null, as all that follows, when the pixel pitch is unknown. */
  airyPx: number | null;
  /** Which is coarser: the Airy disc, or two pixels. */
  limit: 'diffraction' | 'pixel' | null;
  /** Contrast of a perfect lens at the finest detail the pixels hold, 0 to 1. */
  contrastAtPixel: number | null;
}

export function planSharpness(
  effectiveFNumber: number,
  pixelPitchUm: number | null,
  wavelengthNm: number,
): PlanSharpness {
  const airyUm = airyDiameterUm(wavelengthNm, effectiveFNumber);
  if (pixelPitchUm === null) return { airyUm, airyPx: null, limit: null, contrastAtPixel: null };
  const finestPerMm = 1 / convertLength(pixelsPerPeriod * pixelPitchUm, 'um', 'mm');
  return {
    airyUm,
    airyPx: airyUm / pixelPitchUm,
    limit: effectiveFNumber > pixelLimitedFNumber(wavelengthNm, pixelPitchUm) ? 'diffraction' : 'pixel',
    contrastAtPixel: perfectContrast(finestPerMm, cutoffPerMm(wavelengthNm, effectiveFNumber)),
  };
}
