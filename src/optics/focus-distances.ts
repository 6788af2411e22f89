import { convertLength } from './units.js';

/** A lens that is focused by its ring, far away; all distances from its front principal plane (thin lens). */
export interface FocusedLens {
  focalLengthMm: number;
  fNumber: number;
  circleMm: number;
}

/** One setting of the focus ring and its zone of sharpness, m. */
export interface FocusZone {
  focusM: number;
  nearM: number;
  /** Infinity when sharpness has no far end. */
  farM: number;
}

/**
 * Hyperfocal distance, m: f² / (N c) + f (Greenleaf, Photographic Optics, 1950; Ray, Applied Photographic Optics, 3rd
 * ed., 2002; both from memory, without page).
 */
export function hyperfocalM(lens: FocusedLens): number {
  const { focalLengthMm, fNumber, circleMm } = lens;
  return convertLength(focalLengthMm ** 2 / (fNumber * circleMm) + focalLengthMm, 'mm', 'm');
}

/**
 * Zone of sharpness when focused at a distance: near = s (H − f) / (H + s − 2 f), far = s (H − f) / (H − s) (Greenleaf
 * as above), H the hyperfocal distance.
 */
export function zoneOfFocus(lens: FocusedLens, focusM: number): FocusZone {
  const hyperfocal = hyperfocalM(lens);
  const focalM = convertLength(lens.focalLengthMm, 'mm', 'm');
  return {
    focusM,
    nearM: (focusM * (hyperfocal - focalM)) / (hyperfocal + focusM - 2 * focalM),
    farM:
      // A focus that was computed as hyperfocal is off by rounding: sharp to a billion H counts as sharp to the
      // horizon.
      focusM < hyperfocal * (1 - 1e-9) ? (focusM * (hyperfocal - focalM)) / (hyperfocal - focusM) : Infinity,
  };
}

/**
 * Settings of the focus ring, far to near, whose zones of sharpness cover `nearM` to `farM` and overlap.
 *
 * With v the image distance and q = N c / f, a setting is sharp from 1/v (1 − q) to 1/v (1 + q) (the same thin-lens
 * geometry as `zoneOfFocus`, written for 1/v = 1/f − 1/s). In ln(1/v) all zones are therefore equally wide, and the
 * smallest number that covers a range lies at equal distances. Each end of the range lies half such a distance from its
 * last frame, so that nothing in it, including the horizon, is blurred more than halfway between two frames: (1 −
 * overlap) of the circle. Without overlap, from infinity on, that is the series H, H/3, H/5 ... of textbooks (for
 * distances much longer than f).
 *
 * @param farM Infinity for the horizon.
 * @param overlapShare Minimum share of a zone that the next covers again, 0 to below 1, measured along the lens's
 *   focusing travel. The frames are spread evenly, so that it is mostly more.
 * @param closestFocusM Nearest distance that the lens can be set to. Where the nearest frame would be nearer, it is
 *   focused there, and the near end has less margin. Default 0.
 */
export function focusDistances(
  lens: FocusedLens,
  nearM: number,
  farM: number,
  overlapShare: number,
  closestFocusM = 0,
): FocusZone[] {
  const { focalLengthMm, fNumber, circleMm } = lens;
  const focalM = convertLength(focalLengthMm, 'mm', 'm');
  const q = (fNumber * circleMm) / focalLengthMm;
  const focusCoordinate = (distanceM: number): number => Math.log(1 / focalM - 1 / distanceM);
  const width = Math.log1p(q) - Math.log1p(-q);
  const maxSpacing = width * (1 - overlapShare);
  const range = focusCoordinate(farM) - focusCoordinate(nearM);
  let frames = Math.max(1, Math.ceil(range / maxSpacing - 1e-9));
  let spacing = range / frames;
  // The image distance at which both ends of a zone are equally blurred is the harmonic mean of theirs.
  const focusOf = (index: number): number => {
    const farEnd = Math.exp(focusCoordinate(farM) - index * spacing);
    return 1 / (1 / focalM - (farEnd * (1 + Math.exp(-spacing))) / 2);
  };
  if (closestFocusM > focusOf(frames - 1)) {
    const left = focusCoordinate(farM) - focusCoordinate(closestFocusM);
    frames = Math.max(1, Math.ceil(left / maxSpacing + 0.5 - 1e-9));
    spacing = left / (frames - 0.5);
    // So far for the middle in ln(1/v); Newton's method refines it for the mean that `focusOf` takes.
    for (let i = 0; i < 3; i++) {
      const shrink = Math.exp(-spacing);
      const residual = (frames - 1) * spacing - Math.log((1 + shrink) / 2) - left;
      spacing -= residual / (frames - 1 + shrink / (1 + shrink));
    }
  }
  return Array.from({ length: frames }, (_, k) => zoneOfFocus(lens, Math.max(closestFocusM, focusOf(k))));
}
