import sharp from 'sharp';
import { InputError } from '../src/errors.js';
import { depthFromDisparity, type Photo } from './scenes/photo.js';

/**
 * Reads a photograph and its disparity map (8-bit grey of the same size, greater is nearer, 0 unknown) for a stack of
 * `frames`, the subject spread over `spanSteps` steps. Rejects with an InputError when the sizes differ.
 */
export async function readPhoto(
  photoPath: string,
  disparityPath: string,
  frames: number,
  spanSteps: number,
): Promise<Photo> {
  const [photo, disparity] = await Promise.all([
    sharp(photoPath, { ignoreIcc: true })
      .removeAlpha()
      .toColourspace('srgb')
      .raw()
      .toBuffer({ resolveWithObject: true }),
    sharp(disparityPath, { ignoreIcc: true })
      .toColourspace('b-w')
      .extractChannel(0)
      .raw()
      .toBuffer({ resolveWithObject: true }),
  ]);
  const { width, height } = photo.info;
  if (disparity.info.width !== width || disparity.info.height !== height) {
    throw new InputError(
      `The disparity map ${disparityPath} is ${disparity.info.width} x ${disparity.info.height} pixels, the photograph ${photoPath} ${width} x ${height}: give a map of the same size.`,
    );
  }
  return { width, height, rgb: photo.data, depth: depthFromDisparity(disparity.data, frames, spanSteps) };
}
