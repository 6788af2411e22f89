import { searchHotPixels } from '../check/hot-pixels.js';
import { findDust, planeShrink, type SpotPlane, spotLight } from '../check/sensor-spots.js';
import type { PixelData, Size } from '../image/image.js';
import type { Matrix3 } from '../image/transform.js';
import type { DecodedFrame } from '../stack/decode.js';

/** A round spot of the sensor, full-size pixels of a frame. */
export interface Disc {
  x: number;
  y: number;
  radius: number;
}

/** Frames in a row that dust is looked for in: enough to tell it from the subject, few enough to hold. */
const dustFrames = 24;
/** Dust and the blur of its rim, pixels of the plane it is found on. */
const dustRadius = 5;

/** Looks for dust while the reduced pictures pass by; places come when the motion is known. */
export class DustSearch {
  private readonly lights = new Map<number, Float32Array>();
  private planeSize: Size | undefined;
  private factor = 1;

  /** @param count Number of frames to come. */
  constructor(private readonly count: number) {}

  /** Takes the `index`-th frame, from 0, whose pixels stand for `shrink` full-size ones a side, and its luma. */
  add(index: number, frame: Size & { shrink: number }, luma: Float32Array): void {
    const first = Math.max(0, (this.count - dustFrames) >> 1);
    if (index < first || index >= first + dustFrames) return;
    const k = planeShrink(frame);
    this.planeSize = { width: Math.floor(frame.width / k), height: Math.floor(frame.height / k) };
    this.factor = frame.shrink * k;
    this.lights.set(index, spotLight(luma, frame, k));
  }

  /** @param toAnchor Frame to anchor of each frame; undefined for one that is of no use. */
  found(toAnchor: readonly (Matrix3 | undefined)[]): Disc[] {
    if (!this.planeSize) return [];
    const run = [...this.lights].map(([index, light]): SpotPlane | undefined => {
      const matrix = toAnchor[index];
      return matrix && { light, matrix };
    });
    const spots = findDust([run], this.planeSize, this.factor);
    return spots.map(({ x, y }) => ({ x, y, radius: dustRadius * this.factor }));
  }
}

/** Pixels of the sensor that are bright in every one of these frames. */
export async function findHotPixels(
  frames: readonly (() => Promise<DecodedFrame>)[],
): Promise<{ x: number; y: number }[]> {
  const search = searchHotPixels();
  for (const decode of frames) search.add(await decode());
  return search.found();
}

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
  spots: readonly { x: number; y: number }[],
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
