import { InputError } from '../errors.js';
import type { PixelData, Size } from '../image/image.js';
import { findHotPixels } from '../rail/hot-pixels.js';
import { repairHotPixels } from '../rail/repair-hot-pixels.js';
import type { SensorSpot } from '../rail/sensor-spot.js';
import type { RunRecord } from '../result/run-record.js';
import { decodeFrame } from '../stack/decode.js';
import type { FrameFile } from '../stack/frame.js';
import { type AlignedRegion, alignRegion, frameFootprint } from '../trace/aligned-region.js';
import { framePhotograph } from '../trace/frame-photograph.js';
import type { FramePatch } from '../trace/frame-region.js';
import type { LocalKernels } from '../trace/local-kernels.js';
import type { PictureRegion } from '../trace/picture-region.js';
import { requireUnchanged, type StackFrame } from '../trace/stack-frames.js';

/** A frame of a result with its photograph, checked to be the one that was merged. */
export interface ReadableFrame {
  frame: StackFrame;
  file: FrameFile;
}

/** A whole frame as the composite sees it. */
export interface AlignedFrame extends Size {
  channels: 1 | 3;
  /** (rows, cols, channels) interleaved, full range of the given bits, the frame's light gain removed; 0 where it does not reach. */
  pixels: PixelData;
  /** For each row the first and past-the-end column that the frame reaches. */
  coveredFrom: Int32Array;
  coveredTo: Int32Array;
  reachesAll: boolean;
}

/** Rows that are resampled in one go: what memory they take stands beside that of the decoded frame. */
const bandRows = 256;

/**
 * The photographs of frames, all of them checked before any is decoded.
 *
 * @throws InputError when one is missing, has changed since the merge, or is no photograph any more.
 */
export async function openFrames(
  frames: readonly StackFrame[],
  signal?: AbortSignal,
): Promise<ReadableFrame[]> {
  const opened: ReadableFrame[] = [];
  for (const frame of frames) {
    signal?.throwIfAborted();
    const path = await requireUnchanged(frame);
    const found = await framePhotograph(frame, path, Number.POSITIVE_INFINITY);
    if (!found) {
      throw new InputError(`Frame ${frame.number} (${path}) cannot be read. Copy it again from the card.`);
    }
    const { pages: _, ...photograph } = found;
    const { number, size, reduced } = frame;
    // Of a preview the frames are exported as they were merged: reduced.
    opened.push({ frame, file: { ...photograph, number, size, ...(reduced && { reduced }) } });
  }
  // A merge decodes all frames of a stack to the deepest of them.
  const bits = opened.some(({ file }) => file.bits === 16) ? 16 : 8;
  return opened.map(({ frame, file }) => ({ frame, file: { ...file, bits, channels: 3 } }));
}

/** Indices of the frames by which a merge of so many finds hot pixels: the first, the middle and the last. */
export function hotPixelFrames(count: number): number[] {
  return [...new Set([0, count >> 1, count - 1])];
}

/** The hot pixels that a merge of these frames repairs: `hotPixelFrames` says which of them it asks. */
export function hotPixelsOf(frames: readonly ReadableFrame[]): Promise<SensorSpot[]> {
  return findHotPixels(hotPixelFrames(frames.length).map((k) => () => decodeFrame(frames[k].file)));
}

/**
 * Decodes a frame and resamples it to the composite by the kernel that made the composite (assembly/warp.ts), hot pixels
 * repaired as there. Memory is that of one frame and its resampled copy.
 *
 * @throws InputError when the photograph is damaged or was exchanged.
 */
export async function readAlignedFrame(
  kernels: LocalKernels,
  { frame, file }: ReadableFrame,
  hotPixels: readonly SensorSpot[],
  { size, bits, channels }: Pick<RunRecord, 'size' | 'bits' | 'channels'>,
): Promise<AlignedFrame> {
  const decoded = await decodeFrame(file);
  repairHotPixels(decoded.pixels, frame.size, hotPixels);
  const { width, height } = size;
  const count = width * height * channels;
  const pixels = bits === 16 ? new Uint16Array(count) : new Uint8Array(count);
  const coveredFrom = new Int32Array(height);
  const coveredTo = new Int32Array(height);
  let reachesAll = true;
  for (let top = 0; top < height; top += bandRows) {
    const band = { x: 0, y: top, width, height: Math.min(bandRows, height - top) };
    const footprint = frameFootprint(frame.toFrame, band, frame.size);
    if (!footprint) {
      reachesAll = false;
      continue;
    }
    const patch: FramePatch = {
      ...footprint,
      pixels: partOf(decoded.pixels, frame.size.width, footprint),
      bits: decoded.bits,
    };
    const aligned = alignRegion(kernels, patch, frame.size, frame.toFrame, frame.gainRatio, band);
    store(aligned, pixels, top, channels, bits);
    coveredFrom.set(aligned.coveredFrom, top);
    coveredTo.set(aligned.coveredTo, top);
    reachesAll &&= aligned.coveredFrom.every((from, y) => from === 0 && aligned.coveredTo[y] === width);
  }
  return { width, height, channels, pixels, coveredFrom, coveredTo, reachesAll };
}

/** A rectangle of RGB pixels in an array of its own. */
function partOf(pixels: PixelData, width: number, part: PictureRegion): PixelData {
  const length = part.width * 3;
  const copy =
    pixels instanceof Uint16Array
      ? new Uint16Array(length * part.height)
      : new Uint8Array(length * part.height);
  for (let y = 0; y < part.height; y++) {
    const start = ((part.y + y) * width + part.x) * 3;
    copy.set(pixels.subarray(start, start + length), y * length);
  }
  return copy;
}

/** Planes of 0 to 255 as interleaved samples, rounded and clipped as the composite's are. */
function store(
  { planes, width, height, coveredFrom, coveredTo }: AlignedRegion,
  into: PixelData,
  top: number,
  channels: 1 | 3,
  bits: 8 | 16,
): void {
  const unit = bits === 16 ? 257 : 1;
  const max = bits === 16 ? 65_535 : 255;
  for (let channel = 0; channel < channels; channel++) {
    const plane = planes[channel];
    for (let y = 0; y < height; y++) {
      const row = (top + y) * width;
      for (let x = coveredFrom[y]; x < coveredTo[y]; x++) {
        const value = Math.round(plane[y * width + x] * unit);
        into[(row + x) * channels + channel] = Math.max(0, Math.min(max, value));
      }
    }
  }
}
