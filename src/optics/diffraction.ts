import { convertLength } from './units.js';

/**
 * Airy disc over its wavelength and f-number: twice the first zero of J₁(πx)/(πx), 1.2197 (Airy 1835;
 * Born and Wolf, Principles of Optics, 7th ed., section 8.5.2, from memory), by custom rounded to 2.44.
 */
const airyFactor = 2.44;

/** The finest period that pixels can hold (Shannon 1949, Proc. IRE 37(1):10-21) is two of them. */
export const pixelsPerPeriod = 2;

/** Diameter of the Airy disc on the sensor, µm: 2.44 λ N_eff: see `airyFactor`. */
export function airyDiameterUm(wavelengthNm: number, effectiveFNumber: number): number {
  return airyFactor * convertLength(wavelengthNm, 'nm', 'um') * effectiveFNumber;
}

/**
 * The effective f-number at which the Airy disc covers two pixels: from there on diffraction, not the pixel, limits.
 * N_eff = 2 p / (2.44 λ): `airyDiameterUm` solved for N. The criterion of two pixels is common practice (tables of
 * "diffraction limited apertures" fit it at 510 nm), no source.
 */
export function pixelLimitedFNumber(wavelengthNm: number, pixelPitchUm: number): number {
  return (pixelsPerPeriod * pixelPitchUm) / (airyFactor * convertLength(wavelengthNm, 'nm', 'um'));
}

/**
 * Frequency on the sensor beyond which no lens passes contrast, cycles/mm: 1 / (λ N_eff), twice the limit for coherent
 * light (Goodman, Introduction to Fourier Optics, 1st ed., 1968, page 120).
 */
export function cutoffPerMm(wavelengthNm: number, effectiveFNumber: number): number {
  return 1 / (convertLength(wavelengthNm, 'nm', 'mm') * effectiveFNumber);
}

/**
 * Contrast, 0 to 1, that a perfect lens with a round aperture leaves at a frequency:
 * (2/π) (arccos s − s √(1 − s²)), s = frequency over cut-off (Goodman, 1st ed., 1968, equation 6-31).
 */
export function perfectContrast(frequencyPerMm: number, cutoff: number): number {
  const share = frequencyPerMm / cutoff;
  if (share >= 1) return 0;
  return (2 / Math.PI) * (Math.acos(share) - share * Math.sqrt(1 - share * share));
}

/**
 * Peak brightness of a defocused point over that in focus, 0 to 1: (sin πW / πW)² for W waves of defocus at the edge of
 * the aperture (Born and Wolf, 7th ed., section 8.8.2, from memory, u = 4πW). A quarter wave leaves 0.81.
 */
export function defocusStrehl(waves: number): number {
  const phase = Math.PI * waves;
  return phase === 0 ? 1 : (Math.sin(phase) / phase) ** 2;
}

/**
 * Waves of defocus at the edge of the aperture, δ NA² / (2 λ), for a subject `offsetMm` out of focus (Born and Wolf,
 * 7th ed., section 8.8.1, from memory; a quarter wave either way is the depth of `waveDepthMm`).
 */
export function defocusWaves(offsetMm: number, aperture: number, wavelengthNm: number): number {
  return (offsetMm * aperture * aperture) / (2 * convertLength(wavelengthNm, 'nm', 'mm'));
}
