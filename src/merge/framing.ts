import { marginOf } from '../blend/frame-reach.js';
import { InputError } from '../errors.js';
import type { Size } from '../image/image.js';
import { applyMatrix, composeMatrices, invertMatrix, type Matrix3 } from '../register/transform.js';
import type { CropRectangle } from '../result/run-record.js';

/** Sides below this leave no room for a pyramid. */
export const leastSidePx = 64;

/**
 * Where the composite lies in the anchor's picture: all of it, or the largest part of it that every frame
 * reaches. Throws InputError when the frames have too little in common.
 */
export function frameComposite(
  crop: 'common' | 'anchor',
  size: Size,
  toAnchor: readonly Matrix3[],
): CropRectangle {
  const whole = { x: 0, y: 0, ...size };
  if (crop === 'anchor') return whole;
  let left = 0;
  let top = 0;
  let right = size.width - 1;
  let bottom = size.height - 1;
  for (const m of toAnchor) {
    // The four corners of a frame turned a little: the innermost of each pair bounds a rectangle inside it.
    const margin = marginOf(m);
    const [lastX, lastY] = [size.width - 1 - margin, size.height - 1 - margin];
    const [ax, ay] = applyMatrix(m, margin, margin);
    const [bx, by] = applyMatrix(m, lastX, margin);
    const [cx, cy] = applyMatrix(m, margin, lastY);
    const [dx, dy] = applyMatrix(m, lastX, lastY);
    left = Math.max(left, ax, cx);
    right = Math.min(right, bx, dx);
    top = Math.max(top, ay, by);
    bottom = Math.min(bottom, cy, dy);
  }
  const x = Math.ceil(left);
  const y = Math.ceil(top);
  const width = Math.floor(right) - x + 1;
  const height = Math.floor(bottom) - y + 1;
  if (width < leastSidePx || height < leastSidePx) {
    throw new InputError(
      'The frames have too little of their picture in common for --crop common. Use --crop anchor, or leave out the frames that lie apart with --skip.',
    );
  }
  return { x, y, width, height };
}

/** Composite pixel to frame pixel. The anchor's matrix comes out as an exact shift. */
export function compositeToFrame(toAnchor: Matrix3, crop: CropRectangle): Matrix3 {
  return composeMatrices(invertMatrix(toAnchor), [1, 0, crop.x, 0, 1, crop.y, 0, 0, 1]);
}
