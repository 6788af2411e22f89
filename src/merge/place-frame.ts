import type { PixelData, Size } from '../image/image.js';
import { repairedSamples } from '../rail/repair-hot-pixels.js';
import type { SensorSpot } from '../rail/sensor-spot.js';
import type { FrameFile } from '../stack/frame.js';
import { readStored } from '../stack/stored-frame.js';
import type { FrameRows } from './engine.js';

/**
 * Puts a frame into the parts of a slot, and repairs its hot pixels there.
 *
 * @param pixels (rows, cols, 3), not changed; undefined for a frame that `isStored`, which is read from the disk.
 */
export async function placeFrame(
  parts: readonly FrameRows[],
  size: Size,
  file: FrameFile,
  pixels: PixelData | undefined,
  hotPixels: readonly SensorSpot[],
): Promise<void> {
  const rowSamples = size.width * 3;
  for (const part of parts) {
    if (pixels) part.pixels.set(pixels.subarray(part.from * rowSamples, part.to * rowSamples));
    else await readStored(file, part.pixels, part.from);
  }
  const holding = (at: number) => {
    const row = Math.floor(at / rowSamples);
    return parts.filter(({ from, to }) => row >= from && row < to);
  };
  const sampleAt = (at: number) => {
    const [part] = holding(at);
    return part.pixels[at - part.from * rowSamples];
  };
  for (const [at, value] of repairedSamples(sampleAt, size, hotPixels)) {
    for (const part of holding(at)) part.pixels[at - part.from * rowSamples] = value;
  }
}
