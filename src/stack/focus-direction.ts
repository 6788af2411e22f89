import type { FrameFile } from './frame.js';

/** Which end of a stack is near: the frames' planes of focus, in capture order. */
export type Direction = 'near-to-far' | 'far-to-near' | 'unknown';

/** What told it: the user, the focused distances that the camera recorded, or the growth of the picture as on a rail. */
export type DirectionSource = 'option' | 'focused distances' | 'growth';

export interface FocusDirection {
  direction: Direction;
  /** Absent when nothing told the direction. */
  directionBy?: DirectionSource;
}

/** What the user says of a stack; 'auto' leaves it to the frames. */
export type GivenDirection = 'auto' | Exclude<Direction, 'unknown'>;

/** So many different distances tell a way; with fewer, one of a lens that stays as it is may have been rounded differently. */
const fewestDistances = 3;

/**
 * The way the focus went: as the user says, else by the focused distances that the camera recorded, else by the growth of the
 * picture. Growth tells it of a rail alone: a fixed camera's picture shrinks or grows as its lens is focused farther,
 * as the lens is built.
 *
 * @param growth Direction by the growth of the picture; see `findDirection` in register/rail.ts.
 */
export function focusDirection(
  given: GivenDirection,
  frames: readonly Pick<FrameFile, 'exif'>[],
  growth: Direction,
): FocusDirection {
  if (given !== 'auto') return { direction: given, directionBy: 'option' };
  const recorded = recordedDirection(frames);
  if (recorded !== undefined) return { direction: recorded, directionBy: 'focused distances' };
  return growth === 'unknown' ? { direction: growth } : { direction: growth, directionBy: 'growth' };
}

/** Undefined where distances are missing, all but alike (on a rail the lens stays as it is) or turn back. */
function recordedDirection(frames: readonly Pick<FrameFile, 'exif'>[]): Direction | undefined {
  const distances: number[] = [];
  for (const { exif } of frames) {
    if (exif.focusDistanceM === undefined) return undefined;
    distances.push(exif.focusDistanceM);
  }
  if (distances.length < 2) return undefined;
  if (new Set(distances).size < Math.min(fewestDistances, distances.length)) return undefined;
  const sign = Math.sign(distances[distances.length - 1] - distances[0]);
  const turnsBack = distances.some((distance, k) => k > 0 && (distance - distances[k - 1]) * sign < 0);
  if (sign === 0 || turnsBack) return undefined;
  return sign > 0 ? 'near-to-far' : 'far-to-near';
}
