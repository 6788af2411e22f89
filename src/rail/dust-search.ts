import type { Size } from '../image/image.js';
import type { Matrix3 } from '../image/transform.js';
import { findDust, planeShrink, type SpotPlane, spotLight } from './find-dust.js';

/** A round spot of the sensor, full-size pixels of a frame. */
export interface Disc {
  x: number;
  y: number;
  radius: number;
}

/**
 * Consecutive frames that are searched for dust: enough to separate it from the subject, few enough to hold in memory.
 */
const dustFrames = 24;
/** Radius of a dust spot with its blurred rim, pixels of the plane it is found on. */
const dustRadius = 5;

/** Collects planes for the dust search during the first reading; the spots are found once the motion is known. */
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
    const planes = [...this.lights].map(([index, light]): SpotPlane | undefined => {
      const matrix = toAnchor[index];
      return matrix && { light, matrix };
    });
    const spots = findDust([planes], this.planeSize, this.factor);
    return spots.map(({ x, y }) => ({ x, y, radius: dustRadius * this.factor }));
  }
}
