/**
 * A similarity between two pixel frames with the origin at a fixed centre:
 * p' = scale * R(rollRad) * (p - centre) + centre + shift. x right, y down, pixel centres at integers.
 */
export interface Similarity {
  scale: number;
  /** Positive turns +x towards +y (clockwise on the screen). */
  rollRad: number;
  shiftXPx: number;
  shiftYPx: number;
}

/** A 3x3 projective matrix, row-major; the last row of ours is always 0 0 1. */
export type Matrix3 = readonly [number, number, number, number, number, number, number, number, number];

export const identityMatrix: Matrix3 = [1, 0, 0, 0, 1, 0, 0, 0, 1];

/** The matrix of a similarity about the centre ((width - 1) / 2, (height - 1) / 2) of a frame. */
export function similarityMatrix(s: Similarity, width: number, height: number): Matrix3 {
  const cx = (width - 1) / 2;
  const cy = (height - 1) / 2;
  const a = s.scale * Math.cos(s.rollRad);
  const b = s.scale * Math.sin(s.rollRad);
  return [a, -b, cx + s.shiftXPx - a * cx + b * cy, b, a, cy + s.shiftYPx - b * cx - a * cy, 0, 0, 1];
}

/** first, then second: the matrix product second * first. */
export function composeMatrices(second: Matrix3, first: Matrix3): Matrix3 {
  const out: number[] = [];
  for (let row = 0; row < 3; row++) {
    for (let col = 0; col < 3; col++) {
      out.push(
        second[row * 3] * first[col] +
          second[row * 3 + 1] * first[3 + col] +
          second[row * 3 + 2] * first[6 + col],
      );
    }
  }
  return out as unknown as Matrix3;
}

/** Inverse of an affine matrix (last row 0 0 1). Throws when it is singular. */
export function invertMatrix(m: Matrix3): Matrix3 {
  const det = m[0] * m[4] - m[1] * m[3];
  if (!(Math.abs(det) > 1e-12))
    throw new RangeError(`Expected an invertible matrix but its determinant is ${det}`);
  const a = m[4] / det;
  const b = -m[1] / det;
  const c = -m[3] / det;
  const d = m[0] / det;
  return [a, b, -(a * m[2] + b * m[5]), c, d, -(c * m[2] + d * m[5]), 0, 0, 1];
}

/** The point (x, y) carried by an affine matrix. */
export function applyMatrix(m: Matrix3, x: number, y: number): [number, number] {
  return [m[0] * x + m[1] * y + m[2], m[3] * x + m[4] * y + m[5]];
}
