import { join } from 'node:path';
import { encodeTiff } from '../stack/ifd.js';
import { compositeExif } from './exif-block.js';
import { pictureFile } from './picture-file.js';
import { writePng } from './png-file.js';
import { type PictureRows, pictureRows } from './rows.js';
import type { CompositeRecord } from './run-record.js';
import { writeTiffRows } from './tiff-file.js';

/** Pixels of a picture, shape (rows, cols, channels), interleaved, full range of the sample type. */
export interface Picture {
  pixels: Uint8Array | Uint16Array;
  width: number;
  height: number;
  channels: 1 | 3;
}

/** A picture in a file, uncompressed, without its profile. */
export interface StoredPicture extends PictureRows {
  /** Where it lies. */
  path: string;
}

export interface CompositeOptions {
  format: 'tif' | 'png' | 'jpg';
  /** Marks the file's name as that of a preview. Default false. */
  isPreview?: boolean | undefined;
  /** The frames' colour profile: carried byte for byte, pixels are not converted. */
  icc?: Buffer | undefined;
  /** The anchor's EXIF as its file carries it; see `compositeExif` for what is kept. */
  exif?: Buffer | undefined;
  /** Name and version of this program, for the Software field. */
  software: string;
  signal?: AbortSignal | undefined;
}

/**
 * Writes the composite as TIFF, PNG or JPEG into an open result. TIFF and PNG hold the samples bit for bit;
 * JPEG takes 16-bit samples rounded to 8.
 *
 * @returns Its entry in run.json, and plain sentences about what could not be kept.
 * @throws OutputError when the file cannot be written; InterruptedError when stopped.
 */
export async function writeComposite(
  dir: string,
  picture: Picture | StoredPicture,
  options: CompositeOptions,
): Promise<CompositeRecord & { notes: string[] }> {
  const { width, height, channels } = picture;
  const { rows } = pictureRows(picture);
  const isDeep = rows(0, 1) instanceof Uint16Array;
  const { format, isPreview = false, software, signal } = options;
  const notes: string[] = [];
  const file = pictureFile('composite', format, isPreview);
  const path = join(dir, file);

  const icc = options.icc && profileFits(options.icc, channels) ? options.icc : undefined;
  if (options.icc && !icc)
    notes.push('The colour profile of the frames does not suit their channels: it is left out.');
  const ifd = options.exif && compositeExif(options.exif, { width, height }, software);
  let exif = ifd && encodeTiff(ifd);
  // Loaded where it is wanted: it brings the whole decoder along.
  const jpeg = format === 'jpg' ? await import('./jpeg-file.js') : undefined;
  if (exif && jpeg && !jpeg.fitsJpegExif(exif)) exif = undefined;
  if (options.exif && !exif)
    notes.push("The anchor's EXIF is damaged or too long for the file: it is left out.");

  if (jpeg) {
    const samples = 'path' in picture ? picture.path : eightBits(picture.pixels);
    await jpeg.writeJpeg(path, samples, width, height, channels, { icc, exif, signal });
  } else if (format === 'tif') {
    await writeTiffRows(path, { width, height, channels, rows }, { icc, exif: ifd, software, signal });
  } else {
    const row = (y: number) => rows(y, y + 1);
    const bits = isDeep ? 16 : 8;
    await writePng(path, { width, height, channels, bits, row, icc, exif, signal });
  }
  const bits = isDeep && format !== 'jpg' ? 16 : 8;
  return { file, bits, channels, hasIcc: icc !== undefined, hasExif: exif !== undefined, notes };
}

/** Samples rounded to 8 bits: 65535 = 255 * 257 is exactly 255. */
export function eightBits(samples: Uint8Array | Uint16Array): Uint8Array {
  if (samples instanceof Uint8Array) return samples;
  const bytes = new Uint8Array(samples.length);
  for (let i = 0; i < samples.length; i++) bytes[i] = (samples[i] + 128) / 257;
  return bytes;
}

/** Whether a profile suits pixels of so many channels: its bytes 16 to 19 name their colour space (ICC.1:2022, 7.2.8). */
export function profileFits(icc: Buffer, channels: 1 | 3): boolean {
  return icc.toString('latin1', 16, 20) === (channels === 3 ? 'RGB ' : 'GRAY');
}
