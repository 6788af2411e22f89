import type { Strand } from './scene.js';

/** A point of a strand's middle line: anchor pixels, depth in steps. */
export interface PathPoint {
  x: number;
  y: number;
  depth: number;
}

/**
 * A strand along a path given at `along` in [0, 1], cut into pieces of about `piecePx`.
 * `halfWidth` gives half the width in pixels at the same places.
 */
export function makeStrand(
  path: (along: number) => PathPoint,
  halfWidth: (along: number) => number,
  colour: Strand['colour'],
  piecePx = 3,
): Strand {
  const start = path(0);
  const middle = path(0.5);
  const end = path(1);
  const lengthPx =
    Math.hypot(middle.x - start.x, middle.y - start.y) + Math.hypot(end.x - middle.x, end.y - middle.y);
  const pieces = Math.max(2, Math.ceil(lengthPx / piecePx));
  const points = new Float64Array((pieces + 1) * 4);
  for (let k = 0; k <= pieces; k++) {
    const { x, y, depth } = path(k / pieces);
    points.set([x, y, depth, halfWidth(k / pieces)], 4 * k);
  }
  return { points, colour };
}
