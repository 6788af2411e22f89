import ndarray, { type NdArray, type TypedArray } from 'ndarray';
import type { Size } from './image.js';

/**
 * Samples as an array with axes, shape (rows, cols), or (rows, cols, channels) where they are interleaved. Nothing is
 * copied. For views and reductions where time does not matter: what runs over every pixel of every frame is a kernel.
 *
 * @param stride Samples from row to row. Default: rows follow each other without a gap.
 */
export function viewOf<Samples extends TypedArray>(
  samples: Samples,
  { width, height }: Size,
  channels?: number,
  stride = width * (channels ?? 1),
): NdArray<Samples> {
  return channels === undefined
    ? ndarray(samples, [height, width], [stride, 1])
    : ndarray(samples, [height, width, channels], [stride, channels, 1]);
}

/** The rows and columns of a rectangle within a view, with all its channels. */
export function partOf<Samples extends TypedArray>(
  view: NdArray<Samples>,
  { x, y, width, height }: Size & { x: number; y: number },
): NdArray<Samples> {
  return view.lo(y, x).hi(height, width);
}
