import sharp from 'sharp';
import { withImagePath } from '../stack/image-path.js';
import { mapLimited } from '../stack/map-limited.js';

/** Side of the thumbnails that are compared, px: subjects show, focus does not. */
const side = 32;

const picturesAtOnce = 2;

/**
 * How much the picture changes from each photograph to the next, 0 (the same but for light and contrast) to 2:
 * one less the normalised cross-correlation of small grey thumbnails. Defocus changes little at that size,
 * another subject or framing much. Fails between two stacks of one subject in one framing.
 *
 * A photograph that cannot be decoded counts as equal to its neighbours: it belongs where it was shot.
 *
 * @returns One number fewer than paths.
 */
export async function pictureSteps(paths: readonly string[], signal?: AbortSignal): Promise<number[]> {
  const thumbnails = await mapLimited(paths, picturesAtOnce, thumbnailOf, signal);
  const steps: number[] = [];
  let before = thumbnails[0];
  for (const thumbnail of thumbnails.slice(1)) {
    steps.push(before && thumbnail ? 1 - correlation(before, thumbnail) : 0);
    before = thumbnail ?? before;
  }
  return steps;
}

/** Grey values about their mean, (32, 32); undefined when the file cannot be decoded. */
async function thumbnailOf(path: string): Promise<Float32Array | undefined> {
  try {
    const grey = await withImagePath(path, (openPath) =>
      sharp(openPath, { limitInputPixels: false })
        .resize(side, side, { fit: 'fill' })
        .greyscale()
        .toColourspace('b-w')
        .raw({ depth: 'uchar' })
        .toBuffer(),
    );
    const pixels = grey.subarray(0, side * side);
    const mean = pixels.reduce((sum, value) => sum + value, 0) / pixels.length;
    return Float32Array.from(pixels, (value) => value - mean);
  } catch {
    return undefined;
  }
}

function correlation(first: Float32Array, second: Float32Array): number {
  let product = 0;
  let firstPower = 0;
  let secondPower = 0;
  for (let i = 0; i < first.length; i++) {
    product += first[i] * second[i];
    firstPower += first[i] ** 2;
    secondPower += second[i] ** 2;
  }
  const power = Math.sqrt(firstPower * secondPower);
  // Two empty pictures are the same picture.
  return power > 0 ? product / power : firstPower === secondPower ? 1 : 0;
}
