import { composeMatrices, invertMatrix, type Matrix3, similarityMatrix } from '../src/image/transform.js';

/** A thin lens before a sensor; its focus never moves, the whole camera rides on the rail. */
export interface Optics {
  focalLengthMm: number;
  /** Nominal f-number: focal length / aperture diameter. */
  fNumber: number;
  /** Magnification at the plane of focus. */
  magnification: number;
  pixelPitchUm: number;
}

/** Where the camera stood for one frame. */
export interface Pose {
  /** Position of the plane of focus along the axis from the anchor's, mm, positive away from the camera. */
  positionMm: number;
  /** Shift of the picture on the sensor and its turn about the centre. x right, y down; positive turns +x to +y. */
  shiftXPx: number;
  shiftYPx: number;
  rollRad: number;
  /** Size of the picture about its centre, by a lens that breathes; 1 when left out. */
  scale?: number;
}

/** Distance from the lens to the plane of focus: f (1 + 1/m), mm. */
export function focusDistanceMm(optics: Optics): number {
  return optics.focalLengthMm * (1 + 1 / optics.magnification);
}

/**
 * Diameter on the sensor, in pixels, of the blur circle of a point `distanceMm` behind (positive) or before
 * (negative) the plane of focus.
 *
 * Thin lens, 1/f = 1/u + 1/v. The sensor stands at v = f (1 + m), focused at u = f (1 + 1/m). The cone of a point
 * at u + d meets at v' and is A |v - v'| / v' wide at the sensor, A = f/N. With v/v' = u (u + d - f) / ((u - f)(u + d))
 * and f / (u - f) = m that is  c = (f / N) m |d| / (u + d),  to first order  |d| m^2 / (N (1 + m)).
 * Same geometry: E. Hecht, Optics, ch. 5 (thin lenses, stops).
 */
export function blurDiameterPx(optics: Optics, distanceMm: number): number {
  const { focalLengthMm, fNumber, magnification, pixelPitchUm } = optics;
  const diameterMm =
    ((focalLengthMm / fNumber) * magnification * Math.abs(distanceMm)) /
    (focusDistanceMm(optics) + distanceMm);
  return (diameterMm * 1000) / pixelPitchUm;
}

/** Total depth of field in mm for a circle of confusion of `circlePx` pixels: 2 N c (1 + m) / m^2. */
export function depthOfFieldMm(optics: Optics, circlePx: number): number {
  const circleMm = (circlePx * optics.pixelPitchUm) / 1000;
  return (2 * optics.fNumber * circleMm * (1 + optics.magnification)) / optics.magnification ** 2;
}

/**
 * Scale, about the picture's centre, that carries a point from a frame without jitter to the anchor's framing:
 * the picture of a point is v / (its distance from the lens) large, so the ratio is
 * (u + Z - position) / (u + Z), with Z the point's depth from the anchor's plane of focus, mm.
 */
export function scaleToAnchor(optics: Optics, depthMm: number, positionMm: number): number {
  const distance = focusDistanceMm(optics) + depthMm;
  return (distance - positionMm) / distance;
}

/** Matrix of the jitter of a pose: pixel without jitter to pixel with it. */
export function jitterMatrix(pose: Pose, width: number, height: number): Matrix3 {
  return similarityMatrix({ ...pose, scale: pose.scale ?? 1 }, width, height);
}

/**
 * Frame pixel to anchor pixel for what lies in the frame's own plane of focus; both jitters are in it.
 */
export function frameToAnchor(
  optics: Optics,
  pose: Pose,
  anchor: Pose,
  width: number,
  height: number,
): Matrix3 {
  const scale = scaleToAnchor(optics, pose.positionMm, pose.positionMm);
  const rail = similarityMatrix({ scale, rollRad: 0, shiftXPx: 0, shiftYPx: 0 }, width, height);
  const steady = composeMatrices(rail, invertMatrix(jitterMatrix(pose, width, height)));
  return composeMatrices(jitterMatrix(anchor, width, height), steady);
}
