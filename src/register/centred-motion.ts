import type { Size } from '../image/image.js';
import { type Matrix3, type Similarity, similarityMatrix } from '../image/transform.js';

/**
 * A similarity in the form that sums and inverts without trigonometry: about the frame's centre, in full-size
 * pixels, (u, v) goes to (a u - b v + x, b u + a v + y). The complex number a + ib is scale * exp(i roll).
 */
export interface CentredMotion {
  a: number;
  b: number;
  x: number;
  y: number;
}

export const noMotion: Readonly<CentredMotion> = { a: 1, b: 0, x: 0, y: 0 };

/** first, then second. */
export function composeMotions(second: CentredMotion, first: CentredMotion): CentredMotion {
  return {
    a: second.a * first.a - second.b * first.b,
    b: second.a * first.b + second.b * first.a,
    x: second.a * first.x - second.b * first.y + second.x,
    y: second.b * first.x + second.a * first.y + second.y,
  };
}

/** The motion that undoes `m`. Throws when `m` has no scale. */
export function invertMotion(m: CentredMotion): CentredMotion {
  const norm = m.a * m.a + m.b * m.b;
  if (!(norm > 1e-12))
    throw new RangeError(`Expected a motion with a scale above 0 but received ${norm ** 0.5}`);
  const a = m.a / norm;
  const b = -m.b / norm;
  return { a, b, x: -(a * m.x - b * m.y), y: -(b * m.x + a * m.y) };
}

export function similarityToMotion(s: Similarity): CentredMotion {
  return {
    a: s.scale * Math.cos(s.rollRad),
    b: s.scale * Math.sin(s.rollRad),
    x: s.shiftXPx,
    y: s.shiftYPx,
  };
}

/** The same as a similarity and as a matrix on full-size pixel coordinates; none is the identity. */
export function transformOf(
  { a, b, x, y }: CentredMotion = noMotion,
  { width, height }: Size,
): { similarity: Similarity; matrix: Matrix3 } {
  const similarity = { scale: Math.hypot(a, b), rollRad: Math.atan2(b, a), shiftXPx: x, shiftYPx: y };
  return { similarity, matrix: similarityMatrix(similarity, width, height) };
}
