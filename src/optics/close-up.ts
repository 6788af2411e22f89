/**
 * Magnification of a lens on tubes: m = m₀ + e / f, from Newton's image equation x' = m f (Hecht, Optics, 5th ed.,
 * section 5.2.3, from memory): each focal length of extension adds 1 to the magnification.
 *
 * @param ownMagnification Magnification of the lens without tubes as it is focused; 0 at infinity.
 * @param extensionMm Length of tubes or bellows.
 * @param focalLengthMm Focal length as the lens is focused. Many macro lenses shorten it when focused close, and then
 *   magnify more than this.
 */
export function extendedMagnification(
  ownMagnification: number,
  extensionMm: number,
  focalLengthMm: number,
): number {
  return ownMagnification + extensionMm / focalLengthMm;
}

/**
 * The f-number that determines exposure and diffraction: N (1 + m / P) (P. van Walree, "Derivation of the DOF
 * equations", toothwalker.org/optics/dofderivation.html; for P = 1 exposure grows by the square of it, the bellows
 * extension factor (m + 1)² of US Army course SS0512).
 *
 * @param fNumber As marked on the lens, for a subject at infinity.
 * @param pupilRatio Diameter of the exit pupil over that of the entrance pupil, lens seen from either side.
 */
export function effectiveFNumber(fNumber: number, magnification: number, pupilRatio: number): number {
  return fNumber * (1 + magnification / pupilRatio);
}

/** The marked f-number behind an effective one; the inverse of `effectiveFNumber`. */
export function markedFNumber(effective: number, magnification: number, pupilRatio: number): number {
  return effective / (1 + magnification / pupilRatio);
}

/**
 * Numerical aperture on the subject's side: NA = m / (2 N_eff), the sine condition with an image-side sine of
 * 1 / (2 N_eff) (Inoué and Spring, Video Microscopy, 2nd ed., 1997, from memory). Dimensionless, in air below 1.
 */
export function numericalAperture(effective: number, magnification: number): number {
  return magnification / (2 * effective);
}

/** The effective f-number on the sensor behind an objective: the inverse of `numericalAperture`. */
export function effectiveFNumberOfNa(aperture: number, magnification: number): number {
  return magnification / (2 * aperture);
}

/** Distance from the subject to the front principal plane: f (1 + 1 / m), the thin-lens equation (Hecht as above). */
export function subjectDistanceMm(focalLengthMm: number, magnification: number): number {
  return focalLengthMm * (1 + 1 / magnification);
}

/** Distance from the rear principal plane to the sensor: f (1 + m), the thin-lens equation (Hecht as above). */
export function imageDistanceMm(focalLengthMm: number, magnification: number): number {
  return focalLengthMm * (1 + magnification);
}
