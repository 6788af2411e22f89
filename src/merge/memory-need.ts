import type { Size } from '../image/image.js';

/**
 * Peak memory of a merge, MB, whatever the number of frames: measured with frames of 1 to 24 megapixels. Frames of
 * 16 bits are twice as large while they are decoded, read and written.
 */
export function memoryNeedMb({ width, height }: Size, bits: 8 | 16): number {
  const perMegapixel = bits === 16 ? 84 : 70;
  return Math.ceil(190 + (perMegapixel * width * height) / 1e6);
}
