import cv from '@techstark/opencv-js';
import type { Size } from '../../src/image/image.js';
import { fastest } from './fastest.js';
import { benchAffine, type PictureTimes } from './our-kernels.js';

/**
 * Times pyrDown, warpAffine (bicubic, edges repeated) and pyrUp on one RGB picture, as 8-bit samples or as
 * floats. This build of the library computes in one thread.
 */
export async function timeOpenCv(
  pixels: Uint8Array,
  size: Size,
  samples: '8-bit' | 'float',
): Promise<PictureTimes> {
  await ready();
  const bytes = new cv.Mat(size.height, size.width, cv.CV_8UC3);
  const source = new cv.Mat();
  const half = new cv.Mat();
  const out = new cv.Mat();
  const affine = cv.matFromArray(2, 3, cv.CV_64F, [...benchAffine]);
  try {
    bytes.data.set(pixels);
    bytes.convertTo(source, samples === 'float' ? cv.CV_32F : cv.CV_8U);
    const whole = new cv.Size(size.width, size.height);
    const flags = cv.INTER_CUBIC | cv.WARP_INVERSE_MAP;
    const reduce = await fastest(() => cv.pyrDown(source, half));
    const warp = await fastest(() =>
      cv.warpAffine(source, out, affine, whole, flags, cv.BORDER_REPLICATE, new cv.Scalar()),
    );
    const expand = await fastest(() => cv.pyrUp(half, out, whole));
    return { reduce, warp, expand };
  } finally {
    for (const mat of [bytes, source, half, out, affine]) mat.delete();
  }
}

async function ready(): Promise<void> {
  // The module may be loaded before or after its code is compiled.
  if (typeof cv.Mat === 'function') return;
  await new Promise<void>((resolve) => {
    cv.onRuntimeInitialized = resolve;
  });
}
