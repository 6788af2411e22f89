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

/** Linear light of every sample value, times `weight`, by bits: built once, it stays small. */
const lightTables = new Map<string, Float32Array>();

/** IEC 61966-2-1 (sRGB) decoding, scaled so that full range gives 255 * weight. */
function lightTable(bits: 8 | 16, weight: number): Float32Array {
  const key = `${bits} ${weight}`;
  let table = lightTables.get(key);
  if (!table) {
    const full = 2 ** bits - 1;
    table = Float32Array.from({ length: full + 1 }, (_, value) => {
      const share = value / full;
      const light = share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
      return 255 * weight * light;
    });
    lightTables.set(key, table);
  }
  return table;
}

/**
 * Luminance of a reduced frame as (height, width) floats in linear light, 0 to 255; weights of ITU-R BT.709.
 *
 * Linear, because a lens blurs light and not its encoding: on encoded values a blurred edge lies nearer to its
 * dark side, by an amount that shrinks as the edge comes into focus, and all outlines of a dark subject would seem
 * to grow from frame to frame. Encodings other than sRGB's are near enough to it to lose most of that.
 */
export function writeLuminance(frame: ReducedFrame, out: Float32Array): void {
  const { pixels, channels, bits } = frame;
  const count = frame.width * frame.height;
  if (channels === 1) {
    const grey = lightTable(bits, 1);
    for (let i = 0; i < count; i++) out[i] = grey[pixels[i]];
    return;
  }
  const red = lightTable(bits, 0.2126);
  const green = lightTable(bits, 0.7152);
  const blue = lightTable(bits, 0.0722);
  for (let i = 0, p = 0; i < count; i++, p += 3) {
    out[i] = red[pixels[p]] + green[pixels[p + 1]] + blue[pixels[p + 2]];
  }
}

/**
 * Pulls isolated pixels back into the range of their eight neighbours, in place, on (height, width) luminance.
 * A hot or dead pixel stays where the sensor has it while the subject moves, so it would vote for no motion.
 * Only pixels that leave the range by more than `thresholdLevels` (of 255) are touched.
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
