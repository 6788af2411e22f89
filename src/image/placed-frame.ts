import type { Matrix3 } from './transform.js';

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
