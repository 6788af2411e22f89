import { convertLength } from './units.js';

/** Extent of sharpness around the plane of focus, mm. Infinity where it has no end. */
export interface DepthLimits {
  /** From the plane of focus towards the lens. */
  nearMm: number;
  /** From the plane of focus away from the lens. */
  farMm: number;
  totalMm: number;
}

/** A lens by the parameters of close-up geometry. */
export interface LensGeometry {
  focalLengthMm: number;
  /** As marked. */
  fNumber: number;
  magnification: number;
  /** Exit over entrance pupil. */
  pupilRatio: number;
  /** Largest blur on the sensor that still counts as a point. */
  circleMm: number;
}

/**
 * Depth of field by rays through the pupils. With k = c / m the circle on the subject's side, D = f / N the entrance
 * pupil and a = f (1/m + 1/P) its distance from the plane of focus: near = a k / (D + k), far = a k / (D − k), total =
 * 2 f (1/m + 1/P) / [f m / (N c) − N c / (f m)]. (P. van Walree, "Derivation of the DOF equations",
 * toothwalker.org/optics/dofderivation.html.)
 *
 * Diffraction is neglected: it fails where the Airy disc is larger than the circle.
 */
export function geometricDepth(lens: LensGeometry): DepthLimits {
  const { focalLengthMm, fNumber, magnification, pupilRatio, circleMm } = lens;
  const circleAtSubject = circleMm / magnification;
  const pupil = focalLengthMm / fNumber;
  const pupilDistance = focalLengthMm * (1 / magnification + 1 / pupilRatio);
  const nearMm = (pupilDistance * circleAtSubject) / (pupil + circleAtSubject);
  const farMm =
    pupil > circleAtSubject ? (pupilDistance * circleAtSubject) / (pupil - circleAtSubject) : Infinity;
  return { nearMm, farMm, totalMm: nearMm + farMm };
}

/**
 * Depth of field by rays where only the cone of light is known: total = 2 c N_eff / m², half of it on either side
 * (Lefkowitz, The Manual of Close-Up Photography, 1979, from memory). The limit of `geometricDepth` for c much less
 * than the pupil. With NA = m / (2 N_eff) it is c / (m NA), the second term of `combinedDepthMm`.
 */
export function closeUpDepth(effectiveFNumber: number, magnification: number, circleMm: number): DepthLimits {
  const totalMm = (2 * circleMm * effectiveFNumber) / magnification ** 2;
  return { nearMm: totalMm / 2, farMm: totalMm / 2, totalMm };
}

/**
 * Depth of field by waves, total, mm: n λ / NA², within which the wave front departs by no more than a quarter
 * wave from the perfect sphere (Rayleigh's limit; Murphy, Fundamentals of Light Microscopy and Electronic Imaging, 2001,
 * "Depth of field and depth of focus", page 90). Other texts print twice this. It takes sines for angles: beyond
 * NA 0.7 or so it is an order of magnitude.
 *
 * @param refractiveIndex Of the medium between subject and lens; 1 in air.
 */
export function waveDepthMm(wavelengthNm: number, aperture: number, refractiveIndex = 1): number {
  return (refractiveIndex * convertLength(wavelengthNm, 'nm', 'mm')) / aperture ** 2;
}

/**
 * Depth of field by both: n λ / NA² + n e / (M NA), the wave and the ray depth added up (formula 1 of
 * "Depth of Field Calculator", microscopyu.com/tutorials/depthoffield; Inoué and Spring, Video Microscopy, 2nd
 * ed., 1997, from memory), with the circle of confusion for e.
 */
export function combinedDepthMm(waveMm: number, geometricMm: number): number {
  return waveMm + geometricMm;
}
