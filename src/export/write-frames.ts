import { join } from 'node:path';
import type { Size } from '../image/image.js';
import { compositeExif } from '../result/exif-block.js';
import { type PngPicture, writePng } from '../result/png-file.js';
import { writeTiff } from '../result/tiff-file.js';
import { readRawExif } from '../stack/exif.js';
import type { Ifd } from '../stack/ifd.js';
import type { AlignedFrame, ReadableFrame } from './aligned-frame.js';

/** What all files of an export share. */
export interface FileContext {
  dir: string;
  icc: Buffer | undefined;
  /** Name and version of this program. */
  software: string;
  signal: AbortSignal | undefined;
}

/** `0012`: names with it sort as the frames do. */
export function fourDigits(number: number): string {
  return String(number).padStart(4, '0');
}

export function frameFileName(number: number): string {
  return `frame-${fourDigits(number)}`;
}

/**
 * Writes an aligned frame as an uncompressed TIFF with the profile of the stack and the EXIF of its photograph. One that
 * does not reach the whole picture carries alpha.
 */
export async function writeAlignedFrame(
  { dir, icc, software, signal }: FileContext,
  file: string,
  aligned: AlignedFrame,
  { file: photograph }: ReadableFrame,
): Promise<void> {
  const { width, height, channels, reachesAll } = aligned;
  const exif = await exifOf(photograph, aligned, software);
  const samples = reachesAll ? aligned.pixels : withAlpha(aligned);
  const channelCount = reachesAll ? channels : channels === 3 ? 4 : 2;
  await writeTiff(join(dir, file), samples, width, height, channelCount, { icc, exif, software, signal });
}

async function exifOf(
  photograph: ReadableFrame['file'],
  size: AlignedFrame,
  software: string,
): Promise<Ifd | undefined> {
  const block = await readRawExif(photograph);
  return block && compositeExif(block, size, software);
}

function withAlpha({ pixels, width, height, channels, coveredFrom, coveredTo }: AlignedFrame) {
  const isDeep = pixels instanceof Uint16Array;
  const count = width * height * (channels + 1);
  const out = isDeep ? new Uint16Array(count) : new Uint8Array(count);
  const opaque = isDeep ? 65_535 : 255;
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const from = (y * width + x) * channels;
      const to = (y * width + x) * (channels + 1);
      for (let channel = 0; channel < channels; channel++) out[to + channel] = pixels[from + channel];
      out[to + channels] = x >= coveredFrom[y] && x < coveredTo[y] ? opaque : 0;
    }
  }
  return out;
}

/** Writes a mask: 255 where a frame supplied the picture, else 0. */
export async function writeMask(
  { dir, software, signal }: FileContext,
  file: string,
  sources: Uint16Array,
  number: number,
  { width, height }: Size,
): Promise<void> {
  const mask = new Uint8Array(width);
  const row = (y: number) => {
    for (let x = 0; x < width; x++) mask[x] = sources[y * width + x] === number ? 255 : 0;
    return mask;
  };
  await writePng(join(dir, file), { width, height, channels: 1, bits: 8, row, software, signal });
}

/**
 * A frame as a layer: its colour everywhere, and as alpha what it supplied. Editors that keep the colour below
 * alpha 0 turn the alpha into a mask, and painting that mask white brings the frame in anywhere.
 */
export function frameLayer(
  { icc, signal }: FileContext,
  { pixels, width, height, channels }: AlignedFrame,
  sources: Uint16Array,
  number: number,
): PngPicture {
  return colourPicture(
    { pixels, width, height, channels },
    { icc, signal },
    (pixel) => sources[pixel] === number,
  );
}

/** Pixels as RGB with alpha; grey is repeated, for OpenRaster's baseline has colour alone. */
export function colourPicture(
  picture: Pick<AlignedFrame, 'pixels' | 'width' | 'height' | 'channels'>,
  { icc, signal }: Pick<FileContext, 'icc' | 'signal'>,
  isOpaque: (pixel: number) => boolean,
): PngPicture {
  const { pixels, width, height, channels } = picture;
  const isDeep = pixels instanceof Uint16Array;
  const opaque = isDeep ? 65_535 : 255;
  const samples = isDeep ? new Uint16Array(width * 4) : new Uint8Array(width * 4);
  const last = channels - 1;
  const row = (y: number) => {
    for (let x = 0; x < width; x++) {
      const from = (y * width + x) * channels;
      samples[4 * x] = pixels[from];
      samples[4 * x + 1] = pixels[from + Math.min(1, last)];
      samples[4 * x + 2] = pixels[from + last];
      samples[4 * x + 3] = isOpaque(y * width + x) ? opaque : 0;
    }
    return samples;
  };
  // A profile of grey does not suit pixels of three channels.
  const profile = channels === 3 ? icc : undefined;
  return { width, height, channels: 4, bits: isDeep ? 16 : 8, row, icc: profile, signal };
}
