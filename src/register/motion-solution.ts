import type { Matrix3, Similarity } from '../image/transform.js';
import type { Growth } from '../stack/focus-direction.js';

/** Motion of one frame and its uncertainty. */
export interface FrameMotion {
  number: number;
  /** False when no chain of pairs links the frame to the anchor: leave it out. */
  usable: boolean;
  /** Why it is not usable, as a clause without full stop. */
  reason?: string;
  /** Frame -> anchor, full-size pixels about the frame's centre. Identity when not usable. */
  similarity: Similarity;
  /** The same as a matrix on full-size pixel coordinates. */
  matrix: Matrix3;
  /** RMS distance at the frame's corners between the solution and the frame's pairs, full-size pixels; NaN without. */
  residualPx: number;
  /** 1/scale minus the straight line through all frames (on a rail 1/scale is linear in position). 0 without scale. */
  scaleResidual: number;
  /** Fine detail relative to the frames around: 1 is equal, below about 0.75 is blurred or shaken. */
  sharpness: number;
  /** RMS of fine detail in the frame's most detailed tenth, 8-bit levels; near 0 for a flat frame. */
  detail: number;
  /** Whether the picture equals the previous frame's, pixel for pixel. */
  sameAsPrevious: boolean;
  /** Multiply the frame by this to match the anchor, per channel. */
  gainRatio: number[];
}

export interface MotionSolution {
  /** The frame whose framing is kept: the requested one, or a replacement that a warning names. */
  anchorNumber: number;
  frames: FrameMotion[];
  /** Relative growth of the picture from frame to frame; absent with fewer than three aligned frames. */
  growth?: Growth | undefined;
  /** Plain sentences for the user. */
  warnings: string[];
}
