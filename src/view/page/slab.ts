import type { PageFrame } from '../protocol.js';

/**
 * The slab of depth that frames are nearest to: from half way to the frame before to half way to the one behind. The
 * outermost reach as far on the outside as on the inside.
 *
 * @param range First and last frame number.
 * @returns Undefined where none of them has a plane of focus.
 */
export function slabOf(
  frames: readonly PageFrame[],
  [first, last]: readonly [number, number],
): { near: number; far: number } | undefined {
  const planes = frames
    .flatMap(({ number, depth, used }) => (used && depth !== null ? [{ number, depth }] : []))
    .sort((one, other) => one.depth - other.depth);
  const inside = planes.flatMap(({ number }, i) => (number >= first && number <= last ? [i] : []));
  if (inside.length === 0) return undefined;
  const at = (i: number) => planes[i].depth;
  const [low, high] = [inside[0], inside[inside.length - 1]];
  const half = (i: number, step: 1 | -1): number => {
    const beside = planes[i + step] ?? planes[i - step];
    return beside ? Math.abs(beside.depth - at(i)) / 2 : 0;
  };
  return { near: at(low) - half(low, -1), far: at(high) + half(high, 1) };
}
