import type { PixelData, Size } from '../image/image.js';
import { hotRingPx, hotSpreadPx } from '../model/constants/rail.js';
import type { SensorSpot } from './sensor-spot.js';

/**
 * Replaces hot pixels by the mean of the ring around them. Unrepaired, each would draw a trail across the picture: it
 * is sharp in every frame, and on another part of the subject.
 *
 * @param pixels (rows, cols, 3), changed in place.
 */
export function repairHotPixels(pixels: PixelData, size: Size, spots: readonly SensorSpot[]): void {
  for (const [at, value] of repairedSamples((at) => pixels[at], size, spots)) pixels[at] = value;
}

/**
 * The samples that a repair replaces and what it replaces them by, one spot after the other: places in (rows, cols, 3).
 *
 * @param sampleAt The sample at a place.
 */
export function repairedSamples(
  sampleAt: (at: number) => number,
  { width, height }: Size,
  spots: readonly SensorSpot[],
): Map<number, number> {
  const repaired = new Map<number, number>();
  for (const { x, y } of spots) {
    if (x < hotRingPx || y < hotRingPx || x >= width - hotRingPx || y >= height - hotRingPx) continue;
    for (let c = 0; c < 3; c++) {
      let sum = 0;
      let count = 0;
      for (let dy = -hotRingPx; dy <= hotRingPx; dy++) {
        for (let dx = -hotRingPx; dx <= hotRingPx; dx++) {
          if (Math.max(Math.abs(dx), Math.abs(dy)) < hotRingPx) continue;
          const at = ((y + dy) * width + x + dx) * 3 + c;
          sum += repaired.get(at) ?? sampleAt(at);
          count++;
        }
      }
      for (let dy = -hotSpreadPx; dy <= hotSpreadPx; dy++) {
        for (let dx = -hotSpreadPx; dx <= hotSpreadPx; dx++) {
          repaired.set(((y + dy) * width + x + dx) * 3 + c, Math.round(sum / count));
        }
      }
    }
  }
  return repaired;
}
