import sharp from 'sharp';
import { InputError, type LamellaError, named } from '../errors.js';
import type { PixelData, Size } from '../image/image.js';
import { systemFailureOf } from '../system-failure.js';
import { clockMs, publishSpan } from '../workers/spans.js';
import { averageBoxes } from './average-boxes.js';
import { errorCode, fileErrorReason, firstLine } from './file-error.js';
import type { FrameFile } from './frame.js';
import { refuseChangedFrames } from './frame-identity.js';
import { withImagePath } from './image-path.js';
import { developFrame } from './raw/develop-raw.js';
import { widenSamples } from './widen-samples.js';

// A frame is read once or twice per merge, each time in full: a cache would only hold memory.
sharp.cache(false);
// One thread per decode, whatever the machine's allocator: the cores are for the workers.
sharp.concurrency(1);

/** Factor, per side, by which a decoded frame is smaller than the file. */
export type Shrink = 1 | 2 | 4 | 8;

/** The pixels of one frame, upright. */
export interface DecodedFrame {
  /**
   * (rows, cols, channels) interleaved, the full range of `bits`. Orientation is applied once, alpha is
   * dropped (the colour below it is kept as stored), the embedded colour profile is not applied.
   */
  pixels: PixelData;
  width: number;
  height: number;
  channels: 1 | 3;
  bits: 8 | 16;
  /**
   * Full pixels per pixel of this picture and side: the centre of pixel x lies at
   * (x + 0.5) * shrink - 0.5 of the full picture; rows alike.
   */
  shrink: Shrink;
}

/**
 * Decodes a frame to the bits and channels of its stack (`frame.bits`, `frame.channels`): 8 bits widen to 16 by x257,
 * grey to RGB by repetition; both are exact. A frame of a preview (`frame.reduced`) is reduced by that factor too:
 * what is said of `shrink` below then holds for both factors together.
 *
 * With `shrink` k the picture is reduced to floor(width / k) x floor(height / k), so that every pixel stands for a
 * whole k x k block; a remainder of fewer than k columns at the right and rows at the bottom is cut off. A JPEG is
 * reduced by the scaled inverse DCT, at little more than the cost of the entropy decoding: it is the mean of the blocks, up
 * to rounding, for sides that k does not divide too unless the picture has to be turned. Anything else is decoded and
 * averaged over the blocks. A raw file is developed; for a preview, and with `shrink` where it is not kept for later, at
 * half its size.
 *
 * Throws InputError when the file is damaged or cut short, ChangedFrameError when it is gone or no longer what was
 * listed.
 */
export async function decodeFrame(
  frame: FrameFile,
  { shrink = 1 }: { shrink?: Shrink } = {},
): Promise<DecodedFrame> {
  const { width, height } = frame.size;
  const small = { width: Math.floor(width / shrink), height: Math.floor(height / shrink) };
  if (small.width < 1 || small.height < 1) {
    throw new RangeError(
      `Expected shrink of at most the frame's shorter side but received ${shrink} for ${frame.name}`,
    );
  }
  const fileSize = frame.reduced?.fileSize ?? frame.size;
  const factor = shrink * (frame.reduced?.factor ?? 1);
  if (frame.format === 'raw') {
    const isHalf = factor > 1 && (frame.reduced !== undefined || !frame.raw?.kept);
    return { ...(await decodeRaw(frame, fileSize, factor, isHalf)), ...small, shrink };
  }
  const target = targetOf(frame, fileSize, factor);
  // Whatever the result of the decoding, a file that was exchanged explains it better.
  const fromMs = clockMs();
  const loaded = await loadSamples(frame, fileSize, target).finally(() => refuseChangedFrames([frame]));
  publishSpan({ kind: 'decode', name: frame.name, fromMs, toMs: clockMs() });
  const expected = target ?? fileSize;
  const sameSize = loaded.width === expected.width && loaded.height === expected.height;
  if (!sameSize || loaded.bits > frame.bits || loaded.channels > frame.channels) throw changedSince(frame);
  const rest = factor / (target?.factor ?? 1);
  const samples =
    rest === 1
      ? loaded.samples
      : averageBoxes(loaded.samples, loaded.width, loaded.height, loaded.channels, rest);
  const pixels = widenSamples(samples, loaded.channels, frame.channels, frame.bits);
  return { pixels, ...small, channels: frame.channels, bits: frame.bits, shrink };
}

/**
 * The pixels of a raw frame, reduced by `factor`.
 *
 * @param isHalf Halved by developing: each pixel is then made of the samples of one 2 x 2 place of the mosaic.
 */
async function decodeRaw(
  frame: FrameFile,
  fileSize: Size,
  factor: number,
  isHalf: boolean,
): Promise<Pick<DecodedFrame, 'pixels' | 'channels' | 'bits'>> {
  const { name, number, path, raw } = frame;
  const developed = await developFrame({ name, number, path, raw: raw! }, isHalf).finally(() =>
    refuseChangedFrames([frame]),
  );
  const half = isHalf ? 2 : 1;
  const { width, height, channels, samples } = developed;
  const isExpected =
    width === Math.floor(fileSize.width / half) && height === Math.floor(fileSize.height / half);
  if (!isExpected || channels > frame.channels) {
    throw new InputError(
      `${name} was developed to ${width} x ${height} pixels where ${Math.floor(fileSize.width / half)} x ${Math.floor(fileSize.height / half)} were expected: develop it to 16-bit TIFF instead.`,
    );
  }
  const rest = factor / half;
  const reduced = rest === 1 ? samples : averageBoxes(samples, width, height, channels, rest);
  const pixels = widenSamples(reduced, channels, frame.channels, 16);
  return { pixels, channels: frame.channels, bits: 16 };
}

/** Largest reduction of the scaled inverse DCT. */
const maxDctFactor = 8;

/** Whether a frame of a preview is reduced while it is decoded, so that its picture is never in memory as a whole. */
export function isReducedWhileDecoded(frame: FrameFile): boolean {
  const { reduced } = frame;
  return reduced !== undefined && targetOf(frame, reduced.fileSize, reduced.factor) !== undefined;
}

/** How a frame is reduced while it is decoded; undefined where its file type or its sides do not allow it. */
function targetOf(frame: FrameFile, fileSize: Size, factor: number): Target | undefined {
  const isWhole = fileSize.width % factor === 0 && fileSize.height % factor === 0;
  const isUpright = frame.orientation === 1;
  if (factor === 1 || frame.format !== 'jpeg' || !(isWhole || isUpright)) return undefined;
  const byDct = Math.min(factor, maxDctFactor);
  return {
    width: Math.floor(fileSize.width / byDct),
    height: Math.floor(fileSize.height / byDct),
    factor: byDct,
  };
}

interface Loaded {
  samples: PixelData;
  width: number;
  height: number;
  channels: 1 | 3;
  bits: 8 | 16;
}

/** Reduction of a JPEG while it is decoded. */
interface Target extends Size {
  /** Pixels of the file per pixel of what comes back, and side. */
  factor: number;
}

async function loadSamples(frame: FrameFile, fileSize: Size, target?: Target): Promise<Loaded> {
  try {
    return await withImagePath(frame.path, (path) => loadFrom(path, frame, fileSize, target));
  } catch (error) {
    throw error instanceof InputError ? error : decodeError(frame, error);
  }
}

async function loadFrom(
  openPath: string,
  frame: FrameFile,
  fileSize: Size,
  target?: Target,
): Promise<Loaded> {
  // The loader takes options after the name. By `resize` it would stop at half the reduction.
  const path = target ? `${openPath}[shrink=${target.factor}]` : openPath;
  const picture = sharp(path, {
    failOn: 'warning',
    // Limited to the listed size: a file that was exchanged cannot fill the memory.
    limitInputPixels: fileSize.width * fileSize.height,
    ignoreIcc: true,
  });
  const stored = await picture.metadata();
  const grey = stored.channels < 3;
  const bits = stored.depth === 'ushort' ? 16 : 8;
  picture.autoOrient().removeAlpha();
  // Without the colour space grey comes out as RGB, and 16 bits go through 8.
  if (bits === 16) picture.toColourspace(grey ? 'grey16' : 'rgb16').raw({ depth: 'ushort' });
  else picture.toColourspace(grey ? 'b-w' : 'srgb').raw();
  // Not toUint8Array: the memory that it returns is never freed (sharp 0.35.5, measured).
  const { data, info } = await picture.toBuffer({ resolveWithObject: true });
  if (info.channels !== (grey ? 1 : 3)) throw changedSince(frame);
  return {
    samples: bits === 16 ? asShorts(data) : asBytes(data),
    width: info.width,
    height: info.height,
    channels: grey ? 1 : 3,
    bits,
  };
}

/** A plain array over the same memory, without the methods of Node's Buffer. */
function asBytes(bytes: Uint8Array): Uint8Array {
  return new Uint8Array(bytes.buffer, bytes.byteOffset, bytes.byteLength);
}

function asShorts(bytes: Uint8Array): Uint16Array {
  const aligned = bytes.byteOffset % 2 === 0 ? bytes : bytes.slice();
  return new Uint16Array(aligned.buffer, aligned.byteOffset, aligned.byteLength / 2);
}

function decodeError(frame: FrameFile, error: unknown): LamellaError {
  const failure = systemFailureOf(error);
  if (failure) return failure;
  const message = firstLine(error);
  if (message.includes('exceeds pixel limit')) return changedSince(frame);
  if (errorCode(error) !== '' || message.startsWith('Input file is missing')) {
    const reason = errorCode(error) === '' ? 'it no longer exists' : fileErrorReason(error);
    return new InputError(`${frame.name} cannot be read: ${reason}.`, { cause: error });
  }
  return new InputError(
    `${frame.name} is cut short or damaged (${message}): copy it again from the card${orSkip(frame)}.`,
    { cause: error },
  );
}

/** How a frame can be left out; one that has no number yet, as it just arrived, has number 0. */
function orSkip({ number }: FrameFile): string {
  return number > 0 ? ` or leave it out with ${named('skip')} ${number}` : '';
}

function changedSince(frame: FrameFile): InputError {
  return new InputError(
    `${frame.name} has changed since the folder was listed: run again when it is complete.`,
  );
}
