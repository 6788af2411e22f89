import { applyMatrix, type Matrix3 } from '../../../src/image/transform.js';
import { median } from './statistics.js';

/** Distances between where two sets of transforms put the frames' corners, px of the anchor. */
export interface MotionFigures {
  medianPx: number;
  worstPx: number;
}

/**
 * Compares frame → anchor transforms over the four corner pixels of every frame but the anchor.
 * `found[k]` is undefined for a frame that was left out: it is not counted.
 */
export function motionErrors(
  found: readonly (Matrix3 | undefined)[],
  truth: readonly Matrix3[],
  anchorIndex: number,
  width: number,
  height: number,
): MotionFigures {
  const errors: number[] = [];
  for (const [k, matrix] of found.entries()) {
    if (matrix === undefined || k === anchorIndex) continue;
    for (const [x, y] of [
      [0, 0],
      [width - 1, 0],
      [0, height - 1],
      [width - 1, height - 1],
    ]) {
      const [fx, fy] = applyMatrix(matrix, x, y);
      const [tx, ty] = applyMatrix(truth[k], x, y);
      errors.push(Math.hypot(fx - tx, fy - ty));
    }
  }
  return { medianPx: median(errors), worstPx: errors.length > 0 ? Math.max(...errors) : Number.NaN };
}
