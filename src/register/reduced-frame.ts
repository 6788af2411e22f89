import type { PixelData } from '../image/image.js';

/** One frame as registration sees it: a reduced picture, in capture order. */
export interface ReducedFrame {
  /** 1-based place in capture order. */
  number: number;
  /** Shape (height, width, channels), interleaved, full range of `bits`. */
  pixels: PixelData;
  width: number;
  height: number;
  channels: 1 | 3;
  bits: 8 | 16;
  /** Full-size pixels per reduced pixel: xFull = (x + 0.5) * factorX - 0.5. */
  factorX: number;
  factorY: number;
}

/**
 * Luma of a reduced frame as (height, width) floats on the 8-bit scale, 0 to 255.
 * Weights of ITU-R BT.709 on the encoded values: registration needs a grey picture, not a photometric one.
 */
export function writeLuma(frame: ReducedFrame, out: Float32Array): void {
  const { pixels, channels } = frame;
  const toEightBits = frame.bits === 16 ? 1 / 257 : 1;
  const count = frame.width * frame.height;
  if (channels === 1) {
    for (let i = 0; i < count; i++) out[i] = pixels[i] * toEightBits;
    return;
  }
  const red = 0.2126 * toEightBits;
  const green = 0.7152 * toEightBits;
  const blue = 0.0722 * toEightBits;
  for (let i = 0, p = 0; i < count; i++, p += 3) {
    out[i] = red * pixels[p] + green * pixels[p + 1] + blue * pixels[p + 2];
  }
}

/**
 * Pulls isolated pixels back into the range of their eight neighbours, in place, on (height, width) luma.
 * A hot or dead pixel stays where the sensor has it while the subject moves, so it would vote for no motion.
 * Only pixels that leave the range by more than `thresholdLevels` (8-bit levels) are touched.
 */
export function clampIsolatedPixels(
  luma: Float32Array,
  width: number,
  height: number,
  thresholdLevels: number,
): void {
  for (let y = 1; y < height - 1; y++) {
    const row = y * width;
    for (let i = row + 1, end = row + width - 1; i < end; i++) {
      const value = luma[i];
      const left = luma[i - 1];
      const right = luma[i + 1];
      // Nearly every pixel fails one of these two cheap comparisons.
      if (value > left + thresholdLevels && value > right + thresholdLevels) {
        const up = i - width;
        const down = i + width;
        const highest = Math.max(
          left,
          right,
          luma[up - 1],
          luma[up],
          luma[up + 1],
          luma[down - 1],
          luma[down],
          luma[down + 1],
        );
        if (value > highest + thresholdLevels) luma[i] = highest;
      } else if (value < left - thresholdLevels && value < right - thresholdLevels) {
        const up = i - width;
        const down = i + width;
        const lowest = Math.min(
          left,
          right,
          luma[up - 1],
          luma[up],
          luma[up + 1],
          luma[down - 1],
          luma[down],
          luma[down + 1],
        );
        if (value < lowest - thresholdLevels) luma[i] = lowest;
      }
    }
  }
}
