import type { Matrix3 } from '../image/transform.js';
import type { Address } from './arena.js';

/** A decoded frame in the arena, ready for kernels. */
export interface PlacedFrame {
  /** Interleaved RGB pixels. */
  pointer: Address;
  bits: 8 | 16;
  width: number;
  height: number;
  /** Output pixel to frame pixel, both at full size. */
  toFrame: Matrix3;
  gainRatio: readonly [number, number, number];
  /** Place among the frames in use, from 1; the unit of all maps along the stack. */
  ordinal: number;
}
