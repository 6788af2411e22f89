import { extname } from 'node:path';
import { named, OutputError } from '../errors.js';
import { asciiField, encodeTiff } from '../stack/ifd.js';
import { encodeJpeg, maxJpegSide } from './jpeg-file.js';
import { type ByteTarget, writeFileAside } from './output-file.js';
import { appendPng } from './png-file.js';
import { eightBits, type Picture } from './write-composite.js';

/** TIFF 6.0, section 8. */
const softwareTag = 305;

/**
 * Writes a picture that was made of a result: a PNG with the samples as they are, else a JPEG of 8 bits. It appears under
 * its name when it is complete, and names `mark` as the program that made it, by which it is known again.
 *
 * @throws OutputError when it cannot be written, or is too large for a JPEG.
 */
export async function writeMarkedPicture(
  path: string,
  picture: Picture & { icc?: Buffer | undefined },
  mark: string,
  options: Parameters<typeof writeFileAside>[2],
): Promise<void> {
  const { width, height } = picture;
  const isPng = extname(path).toLowerCase() === '.png';
  if (!isPng && Math.max(width, height) > maxJpegSide) {
    throw new OutputError(
      `Cannot write ${path}: a JPEG holds ${maxJpegSide} pixels a side but the picture is ${width} x ${height}. Choose a name that ends in .png for ${named(options.option)}.`,
    );
  }
  await writeFileAside(
    path,
    (file) => (isPng ? appendAsPng(file, picture, mark, options.signal) : appendAsJpeg(file, picture, mark)),
    options,
  );
}

async function appendAsPng(
  file: ByteTarget,
  { pixels, width, height, channels, icc }: Picture & { icc?: Buffer | undefined },
  mark: string,
  signal: AbortSignal | undefined,
): Promise<void> {
  const bits = pixels instanceof Uint16Array ? 16 : 8;
  const row = (y: number) => pixels.subarray(y * width * channels, (y + 1) * width * channels);
  await appendPng(file, { width, height, channels, bits, row, icc, software: mark, signal });
}

async function appendAsJpeg(
  file: ByteTarget,
  { pixels, width, height, channels, icc }: Picture & { icc?: Buffer | undefined },
  mark: string,
): Promise<void> {
  const exif = encodeTiff(new Map([[softwareTag, asciiField(mark)]]));
  await file.append(await encodeJpeg(eightBits(pixels), width, height, channels, { icc, exif }));
}
