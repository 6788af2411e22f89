import { convertLength } from './units.js';

/** A lens that is focused by its ring, far away; all distances from its front principal plane (thin lens). */
export interface FocusedLens {
  focalLengthMm: number;
  fNumber: number;
  circleMm: number;
}

/** One setting of the focus ring and what it makes sharp, m. */
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
 * What is sharp when focused at a distance: near = s (H − f) / (H + s − 2 f), far = s (H − f) / (H − s)
 * (Greenleaf as above), H the hyperfocal distance.
 */
export function zoneOfFocus(lens: FocusedLens, focusM: number): FocusZone {
  const hyperfocal = hyperfocalM(lens);
  const focalM = convertLength(lens.focalLengthMm, 'mm', 'm');
  return {
    focusM,
    nearM: (focusM * (hyperfocal - focalM)) / (hyperfocal + focusM - 2 * focalM),
    farM:
      // A focus computed to be hyperfocal misses it by roundings; what is sharp to a billion H is to the horizon.
      focusM < hyperfocal * (1 - 1e-9) ? (focusM * (hyperfocal - focalM)) / (hyperfocal - focusM) : Infinity,
  };
}

/**
 * Settings of the focus ring, far to near, whose zones of sharpness cover `nearM` to `farM` and overlap.
 *
 * With v the image distance and q = N c / f, a setting is sharp from 1/v (1 − q) to 1/v (1 + q) (the same
 * thin-lens geometry as `zoneOfFocus`, written for 1/v = 1/f − 1/s). In ln(1/v) all zones are therefore equally wide, and
 * the fewest that cover a range lie at equal distances. Without overlap, from infinity on, that is the
 * series H, H/3, H/5 ... of textbooks (for distances much longer than f).
 *
 * @param farM Infinity for the horizon.
 * @param overlapShare Least share of a zone that the next covers again, 0 to below 1, measured along the
 *   lens's focusing travel. The frames are spread evenly, so that it is mostly more.
 */
export function focusDistances(
  lens: FocusedLens,
  nearM: number,
  farM: number,
  overlapShare: number,
): FocusZone[] {
  const { focalLengthMm, fNumber, circleMm } = lens;
  const focalM = convertLength(focalLengthMm, 'mm', 'm');
  const q = (fNumber * circleMm) / focalLengthMm;
  const place = (distanceM: number): number => Math.log(1 / focalM - 1 / distanceM);
  const width = Math.log1p(q) - Math.log1p(-q);
  const range = place(farM) - place(nearM);
  const further = Math.max(0, Math.ceil((range / width - 1) / (1 - overlapShare) - 1e-9));
  const spacing = further === 0 ? 0 : (range - width) / further;
  // One frame that reaches further than asked has the same to spare at both ends, short of the horizon.
  const toHorizon = -Math.log(focalM) - place(farM);
  const spare = further === 0 ? Math.min((width - range) / 2, toHorizon) : 0;
  return Array.from({ length: further + 1 }, (_, k) => {
    const inverseImage = Math.exp(place(farM) + spare - Math.log1p(q) - k * spacing);
    return zoneOfFocus(lens, 1 / (1 / focalM - inverseImage));
  });
}
