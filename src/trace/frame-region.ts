import sharp from 'sharp';
import { InputError, LamellaError, named } from '../errors.js';
import type { PixelData } from '../image/image.js';
import type { DecodedFrame } from '../stack/decode.js';
import { firstLine } from '../stack/file-error.js';
import { withImagePath } from '../stack/image-path.js';
import { widenSamples } from '../stack/widen-samples.js';
import { systemFailureOf } from '../system-failure.js';
import { decodeReducedFrame } from './decode-reduced.js';
import { pixelFile } from './developed-copy.js';
import type { PictureRegion } from './picture-region.js';
import type { StackFrame } from './stack-frames.js';

// See stack/decode.ts: the cores belong to more than one decoder.
sharp.cache(false);

/** A rectangle of a frame in the frame's own pixels. */
export interface FramePatch extends PictureRegion {
  /** Interleaved RGB, (height, width, 3), full range of `bits`. */
  pixels: PixelData;
  bits: 8 | 16;
}

/**
 * Decodes a rectangle of a frame, upright and without its profile applied, as a merge decodes it. Memory
 * follows the rectangle, not the frame; of a preview the whole frame is decoded, reduced.
 *
 * @param region Inside the frame.
 * @throws InputError when the photograph cannot be read or is no longer of the recorded size.
 */
export async function readFrameRegion(
  frame: StackFrame,
  path: string,
  region: PictureRegion,
): Promise<FramePatch> {
  try {
    if (frame.reduced) return cutOut(await decodeReducedFrame(frame, path), region);
    return await withImagePath(await pixelFile(frame, path), (openPath) =>
      readRegion(frame, path, openPath, region),
    );
  } catch (error) {
    if (error instanceof LamellaError) throw error;
    const failure = systemFailureOf(error);
    if (failure) throw failure;
    throw new InputError(
      `Frame ${frame.number} (${path}) cannot be read (${firstLine(error)}). Copy it again from the card, or say where it lies with ${named('framesFrom')} FOLDER.`,
      { cause: error },
    );
  }
}

/** The rectangle of a decoded frame, in a buffer of its own. */
function cutOut({ pixels, width, channels, bits }: DecodedFrame, region: PictureRegion): FramePatch {
  const count = region.width * region.height * channels;
  const cut = pixels instanceof Uint8Array ? new Uint8Array(count) : new Uint16Array(count);
  const rowLength = region.width * channels;
  for (let row = 0; row < region.height; row++) {
    const start = ((region.y + row) * width + region.x) * channels;
    cut.set(pixels.subarray(start, start + rowLength), row * rowLength);
  }
  return { ...region, pixels: widenSamples(cut, channels, 3, bits), bits };
}

async function readRegion(
  frame: StackFrame,
  path: string,
  openPath: string,
  region: PictureRegion,
): Promise<FramePatch> {
  const options = { failOn: 'warning', ignoreIcc: true, limitInputPixels: false } as const;
  const stored = await sharp(openPath, options).metadata();
  const { width, height } = stored.autoOrient;
  if (width !== frame.size.width || height !== frame.size.height) {
    throw new InputError(
      `Expected ${frame.size.width} x ${frame.size.height} pixels for frame ${frame.number} (${path}) but received ${width} x ${height}: it has changed since the merge.`,
    );
  }
  const grey = stored.channels < 3;
  const bits = stored.depth === 'ushort' ? 16 : 8;
  const picture = sharp(openPath, options)
    .autoOrient()
    .extract({ left: region.x, top: region.y, width: region.width, height: region.height })
    .removeAlpha();
  if (bits === 16) picture.toColourspace(grey ? 'grey16' : 'rgb16').raw({ depth: 'ushort' });
  else picture.toColourspace(grey ? 'b-w' : 'srgb').raw({ depth: 'uchar' });
  const bytes = await picture.toBuffer({ resolveWithObject: true });
  const samples = bits === 16 ? asShorts(bytes.data) : bytes.data;
  return { ...region, pixels: widenSamples(samples, grey ? 1 : 3, 3, bits), bits };
}

function asShorts(bytes: Uint8Array): Uint16Array {
  const aligned = bytes.byteOffset % 2 === 0 ? bytes : bytes.slice();
  return new Uint16Array(aligned.buffer, aligned.byteOffset, aligned.byteLength / 2);
}
