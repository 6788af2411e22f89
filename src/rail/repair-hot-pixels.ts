import type { PixelData, Size } from '../image/image.js';
import { hotRingPx, hotSpreadPx } from '../model/constants/rail.js';
import type { SensorSpot } from './sensor-spot.js';

/**
 * Replaces hot pixels by the mean of the ring around them. Unrepaired, each would draw a trail across the picture: it
 * is sharp in every frame, and on another part of the subject.
 *
 * @param pixels (rows, cols, 3), changed in place.
 */
export function repairHotPixels(
  pixels: PixelData,
  { width, height }: Size,
  spots: readonly SensorSpot[],
): void {
  for (const { x, y } of spots) {
    if (x < hotRingPx || y < hotRingPx || x >= width - hotRingPx || y >= height - hotRingPx) continue;
    for (let c = 0; c < 3; c++) {
      let sum = 0;
      let count = 0;
      for (let dy = -hotRingPx; dy <= hotRingPx; dy++) {
        for (let dx = -hotRingPx; dx <= hotRingPx; dx++) {
          if (Math.max(Math.abs(dx), Math.abs(dy)) < hotRingPx) continue;
          sum += pixels[((y + dy) * width + x + dx) * 3 + c];
          count++;
        }
      }
      for (let dy = -hotSpreadPx; dy <= hotSpreadPx; dy++) {
        for (let dx = -hotSpreadPx; dx <= hotSpreadPx; dx++) {
          pixels[((y + dy) * width + x + dx) * 3 + c] = Math.round(sum / count);
        }
      }
    }
  }
}
