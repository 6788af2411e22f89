import type { Matrix3 } from '../image/transform.js';
import type { FrameFile } from '../stack/frame.js';

/** A frame that takes part in the merge. */
export interface UsedFrame {
  file: FrameFile;
  /** Place among the frames in use, from 1. */
  ordinal: number;
  /** Frame pixel to anchor pixel. */
  toAnchor: Matrix3;
  gainRatio: [number, number, number];
}
