import { endianness } from 'node:os';
import type { Size } from '../image/image.js';
import {
  asciiField,
  encodeIfd,
  type Ifd,
  long8Field,
  longField,
  shortField,
  undefinedField,
} from '../stack/ifd.js';
import { writeOutputFile } from './output-file.js';

/** Samples of a TIFF; the type says the format: unsigned 8, unsigned 16, or float 32 bits. */
export type TiffSamples = Uint8Array | Uint16Array | Float32Array;

/** A picture whose rows are made when they are written: those from `top` to the one before `bottom`, interleaved. */
export interface TiffRows<Samples extends TiffSamples> extends Size {
  channels: 1 | 2 | 3 | 4;
  rows(top: number, bottom: number): Samples;
}

export interface TiffOptions {
  /** ICC profile, carried byte for byte. */
  icc?: Buffer | undefined;
  /** Descriptive fields (make, model, EXIF and GPS directories …) beside those that define the picture. */
  exif?: Ifd | undefined;
  /** Written as Software where `exif` does not say. */
  software?: string | undefined;
  /** Writes BigTIFF; default: when the file would not fit in 4 GiB. */
  big?: boolean | undefined;
  signal?: AbortSignal | undefined;
}

/** Strips of about this size: readers hold one at a time. */
const bytesPerStrip = 256 * 1024;
/** Bytes that are made before they are written. */
const bytesAtOnce = 4 * 1024 * 1024;
const maxClassicBytes = 2 ** 32 - 1;

/** Tags of TIFF 6.0; 338 and 339 of its part 2, 34675 of the ICC specification, annex B. */
const tags = {
  imageWidth: 256,
  imageLength: 257,
  bitsPerSample: 258,
  compression: 259,
  photometric: 262,
  stripOffsets: 273,
  orientation: 274,
  samplesPerPixel: 277,
  rowsPerStrip: 278,
  stripByteCounts: 279,
  planarConfiguration: 284,
  software: 305,
  extraSamples: 338,
  sampleFormat: 339,
  iccProfile: 34675,
} as const;

/**
 * Writes an uncompressed TIFF, straight from memory without a copy. Uncompressed, because the noise of
 * photographs leaves deflate 15 to 25 % at ten times the time, and because every reader takes it.
 *
 * @param path File to write.
 * @param samples Shape (rows, cols, channels), interleaved; may lie on a SharedArrayBuffer.
 * @param width, height In pixels.
 * @param channels 1 = grey (black is zero), 3 = RGB; 2 and 4: the same with alpha, by which colour is not multiplied.
 * @throws OutputError when the file cannot be written; InterruptedError when stopped.
 */
export async function writeTiff(
  path: string,
  samples: TiffSamples,
  width: number,
  height: number,
  channels: 1 | 2 | 3 | 4,
  options: TiffOptions = {},
): Promise<void> {
  if (samples.length !== width * height * channels) {
    throw new RangeError(
      `Expected ${width * height * channels} samples for ${width} x ${height} x ${channels} but received ${samples.length}`,
    );
  }
  const perRow = width * channels;
  const rows = (top: number, bottom: number) => samples.subarray(top * perRow, bottom * perRow);
  await writeTiffRows(path, { width, height, channels, rows }, options);
}

/** As `writeTiff`, by strips: no more rows are asked for at once than lie in one of about 4 MB. */
export async function writeTiffRows(
  path: string,
  { width, height, channels, rows }: TiffRows<TiffSamples>,
  options: TiffOptions = {},
): Promise<void> {
  const sample = rows(0, 1);
  // Typed arrays have the byte order of the machine, and the header says little-endian.
  if (endianness() !== 'LE') throw new Error('Lamella runs on little-endian machines only');
  const bytesPerRow = width * channels * sample.BYTES_PER_ELEMENT;
  const pixelBytes = bytesPerRow * height;
  const rowsPerStrip = Math.min(height, Math.max(1, Math.floor(bytesPerStrip / bytesPerRow)));
  const strips = Math.ceil(height / rowsPerStrip);
  const otherBytes = strips * 16 + (options.icc?.length ?? 0) + (options.exif ? 1 << 20 : 0) + 4096;
  const big = options.big ?? pixelBytes + otherBytes > maxClassicBytes;

  await writeOutputFile(
    path,
    async (file) => {
      await file.append(big ? bigHeader : classicHeader);
      const start = file.position;
      const rowsAtOnce = Math.max(1, Math.floor(bytesAtOnce / bytesPerRow));
      for (let top = 0; top < height; top += rowsAtOnce) {
        await file.append(rows(top, Math.min(height, top + rowsAtOnce)));
      }
      if (file.position & 1) await file.append(Buffer.alloc(1));
      const at = file.position;

      const offsets = Array.from({ length: strips }, (_, i) => start + i * rowsPerStrip * bytesPerRow);
      const counts = offsets.map((offset) =>
        Math.min(rowsPerStrip * bytesPerRow, start + pixelBytes - offset),
      );
      const offsetField = big ? long8Field : longField;
      const ifd: Ifd = new Map(options.exif ?? []);
      ifd.set(tags.imageWidth, longField(width));
      ifd.set(tags.imageLength, longField(height));
      ifd.set(tags.bitsPerSample, shortField(...repeat(sample.BYTES_PER_ELEMENT * 8, channels)));
      ifd.set(tags.compression, shortField(1));
      ifd.set(tags.photometric, shortField(channels >= 3 ? 2 : 1));
      ifd.set(tags.stripOffsets, offsetField(...offsets));
      ifd.set(tags.orientation, shortField(1));
      ifd.set(tags.samplesPerPixel, shortField(channels));
      ifd.set(tags.rowsPerStrip, longField(rowsPerStrip));
      ifd.set(tags.stripByteCounts, offsetField(...counts));
      ifd.set(tags.planarConfiguration, shortField(1));
      if (options.software && !ifd.has(tags.software)) ifd.set(tags.software, asciiField(options.software));
      // 2: alpha that colour is not multiplied by.
      if (channels % 2 === 0) ifd.set(tags.extraSamples, shortField(2));
      ifd.set(tags.sampleFormat, shortField(...repeat(sample instanceof Float32Array ? 3 : 1, channels)));
      if (options.icc) ifd.set(tags.iccProfile, undefinedField(options.icc));
      await file.append(encodeIfd(ifd, at, big));

      const pointer = big ? long8Field(at) : longField(at);
      await file.patch(pointer.value, big ? 8 : 4);
    },
    options.signal,
  );
}

/** Byte order II, version 42, offset of the first directory (patched at the end). */
const classicHeader = Buffer.from([0x49, 0x49, 42, 0, 0, 0, 0, 0]);
/** Byte order II, version 43, 8-byte offsets, constant 0, offset of the first directory. */
const bigHeader = Buffer.from([0x49, 0x49, 43, 0, 8, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]);

function repeat(value: number, times: number): number[] {
  return new Array<number>(times).fill(value);
}
