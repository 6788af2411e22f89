import type { PixelData, Size } from '../image/image.js';
import type { SensorSpot } from './sensor-spot.js';

/** Extent of a hot pixel on each side after raw conversion and compression, px. */
const spreadPx = 1;

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
  const ringPx = spreadPx + 1;
  for (const { x, y } of spots) {
    if (x < ringPx || y < ringPx || x >= width - ringPx || y >= height - ringPx) continue;
    for (let c = 0; c < 3; c++) {
      let sum = 0;
      let count = 0;
      for (let dy = -ringPx; dy <= ringPx; dy++) {
        for (let dx = -ringPx; dx <= ringPx; dx++) {
          if (Math.max(Math.abs(dx), Math.abs(dy)) < ringPx) continue;
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
