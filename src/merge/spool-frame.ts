import { stat } from 'node:fs/promises';
import { optionError } from '../option-error.js';
import { writeTiff } from '../result/tiff-file.js';
import type { FrameFile } from '../stack/frame.js';

/** One frame as a program holds it. */
export interface FramePixels {
  width: number;
  height: number;
  /** 1: grey; 3: red, green, blue. */
  channels: 1 | 3;
  /** (rows, cols, channels) interleaved, from the upper left, upright; the full range of 8 or 16 bits, gamma-encoded. */
  pixels: Uint8Array | Uint16Array;
}

/**
 * Checks a frame against the first and writes it to `path`, where it is wanted, as an uncompressed TIFF.
 *
 * @returns The frame as a merge lists it.
 * @throws UsageError when it is no frame, or not like the first; OutputError.
 */
export async function spoolFrame(
  frame: FramePixels,
  first: FramePixels,
  number: number,
  path: string,
  isWanted: boolean,
  signal: AbortSignal | undefined,
): Promise<FrameFile> {
  checkFrame(frame, first, number);
  const { width, height, channels, pixels } = frame;
  if (isWanted) await writeTiff(path, pixels, width, height, channels, { signal });
  const { size, mtimeMs } = isWanted ? await stat(path) : { size: 0, mtimeMs: 0 };
  return {
    number,
    path,
    name: `frame ${number}`,
    sizeBytes: size,
    modifiedMs: mtimeMs,
    size: { width, height },
    bits: pixels instanceof Uint8Array ? 8 : 16,
    channels,
    hasAlpha: false,
    format: 'tiff',
    orientation: 1,
    exif: {},
  };
}

function checkFrame(frame: FramePixels, first: FramePixels, number: number): void {
  const name = `frames[${number - 1}]`;
  const { width, height, channels, pixels } = frame;
  for (const [key, side] of Object.entries({ width, height })) {
    if (!Number.isSafeInteger(side) || side < 1) {
      throw optionError(`${name}.${key}`, 'a whole number of pixels from 1', side);
    }
  }
  if (channels !== 1 && channels !== 3) throw optionError(`${name}.channels`, '1 or 3', channels);
  // A Buffer or a clamped array would do, but not an array of plain numbers or floats.
  if (!(pixels instanceof Uint8Array || pixels instanceof Uint16Array)) {
    throw optionError(`${name}.pixels`, 'a Uint8Array or Uint16Array', pixels);
  }
  const count = width * height * channels;
  if (pixels.length !== count) {
    throw optionError(`${name}.pixels`, `${count} samples (${height} x ${width} x ${channels})`, pixels, {
      shown: `${pixels.length}`,
    });
  }
  const kind = kindOf(first);
  if (kindOf(frame) !== kind) {
    throw optionError(name, `${kind}, as of the first frame,`, frame, { shown: kindOf(frame) });
  }
}

function kindOf({ width, height, channels, pixels }: FramePixels): string {
  const bits = pixels instanceof Uint8Array ? 8 : 16;
  return `${width} x ${height} pixels of ${channels} x ${bits} bits`;
}
