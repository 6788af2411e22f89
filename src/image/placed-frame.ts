import type { Matrix3 } from './transform.js';

/** A decoded frame in the arena, ready for kernels. */
export interface PlacedFrame {
  /** Address of interleaved RGB pixels. */
  pointer: number;
  bits: 8 | 16;
  width: number;
  height: number;
  /** Output pixel to frame pixel, both at full size. */
  toFrame: Matrix3;
  gainRatio: readonly [number, number, number];
  /** Place among the frames in use, from 1; the unit of all maps along the stack. */
  ordinal: number;
}

/** The affine part of a matrix for a pyramid level: pixel j of level l lies at pixel 2^l j of level 0. */
export function affineAtLevel(m: Matrix3, level: number): [number, number, number, number, number, number] {
  const unit = 1 / 2 ** level;
  return [m[0], m[1], m[2] * unit, m[3], m[4], m[5] * unit];
}

/** The same as arguments of a kernel. */
export function affineArguments(m: Matrix3, level: number) {
  const [a, b, c, d, e, f] = affineAtLevel(m, level);
  return { a, b, c, d, e, f };
}
