import type { PixelData, Size } from '../image/image.js';
import type { SensorSpot } from './sensor-spot.js';

/** A hot pixel and what developing and compression spread of it, on either side, px. */
const spreadPx = 1;

/**
 * Puts the mean of the ring around them in the place of hot pixels. Left alone, each would draw a trail: it is
 * sharp in every frame, and somewhere else on the subject.
 *
 * @param pixels (rows, cols, 3), changed in place.
 */
export function repairHotPixels(
  pixels: PixelData,
  { width, height }: Size,
  spots: readonly SensorSpot[],
): void {
  const ring = spreadPx + 1;
  for (const { x, y } of spots) {
    if (x < ring || y < ring || x >= width - ring || y >= height - ring) continue;
    for (let c = 0; c < 3; c++) {
      let sum = 0;
      let count = 0;
      for (let dy = -ring; dy <= ring; dy++) {
        for (let dx = -ring; dx <= ring; dx++) {
          if (Math.max(Math.abs(dx), Math.abs(dy)) < ring) continue;
          sum += pixels[((y + dy) * width + x + dx) * 3 + c];
          count++;
        }
      }
      for (let dy = -spreadPx; dy <= spreadPx; dy++) {
        for (let dx = -spreadPx; dx <= spreadPx; dx++) {
          pixels[((y + dy) * width + x + dx) * 3 + c] = Math.round(sum / count);
        }
      }
    }
  }
}
