import { composeMatrices, invertMatrix, type Matrix3 } from '../image/transform.js';
import type { CropRectangle } from './run-record.js';

/** Composite pixel to frame pixel. The anchor's matrix comes out as an exact translation. */
export function compositeToFrame(toAnchor: Matrix3, crop: CropRectangle): Matrix3 {
  return composeMatrices(invertMatrix(toAnchor), [1, 0, crop.x, 0, 1, crop.y, 0, 0, 1]);
}
