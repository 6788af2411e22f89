import type { Size } from './image.js';

/**
 * Sizes of the pyramid's levels, finest first: halved rounding up until the shorter side is below 24 px, at
 * most nine. The coarsest then spans a blur larger than any defocus that still matters at pixel level.
 */
export function levelSizes(size: Size): Size[] {
  const sizes = [size];
  while (sizes.length < 9 && Math.min(sizes.at(-1)!.width, sizes.at(-1)!.height) >= 24) {
    const { width, height } = sizes.at(-1)!;
    sizes.push({ width: (width + 1) >> 1, height: (height + 1) >> 1 });
  }
  return sizes;
}
