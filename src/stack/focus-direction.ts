import type { FrameFile } from './frame.js';

/**
 * The way the focus went, by the focused distances that the camera recorded: for a fixed camera, whose picture may
 * grow or shrink as its lens is focused. Undefined where they are missing, all alike (on a rail the lens stays as it
 * is) or turn back.
 */
export function focusDirection(
  frames: readonly Pick<FrameFile, 'exif'>[],
): 'near-to-far' | 'far-to-near' | undefined {
  const distances: number[] = [];
  for (const { exif } of frames) {
    if (exif.focusDistanceM === undefined) return undefined;
    distances.push(exif.focusDistanceM);
  }
  const first = distances.at(0);
  const last = distances.at(-1);
  if (first === undefined || last === undefined || first === last) return undefined;
  const sign = Math.sign(last - first);
  const turnsBack = distances.some((distance, k) => k > 0 && (distance - distances[k - 1]) * sign < 0);
  if (turnsBack) return undefined;
  return sign > 0 ? 'near-to-far' : 'far-to-near';
}
