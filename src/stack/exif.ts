import sharp, { type Metadata } from 'sharp';
import type { FrameExif, FrameFile } from './frame.js';
import { withImagePath } from './image-path.js';
import { exifBlock, parseExif } from './parse-exif.js';
import { iccProfile } from './raw/icc-profile.js';
import { exifBlockOfRaw } from './raw/raw-exif.js';
import { openRegularFile } from './regular-file.js';
import { exifBlockOfTiff } from './tiff-exif.js';

/**
 * The EXIF block of a frame as stored, to be carried over into a result: a TIFF structure that begins with
 * its byte-order mark `II` or `MM` (without the `Exif\0\0` that JPEG puts before it). Of a TIFF file a
 * block of the same layout is built from its directories. Undefined when the file has no EXIF.
 */
export async function readRawExif(
  frame: Pick<FrameFile, 'path' | 'format'> & Partial<Pick<FrameFile, 'exif'>>,
): Promise<Buffer | undefined> {
  if (frame.format === 'tiff' || frame.format === 'raw') {
    const handle = await openRegularFile(frame.path);
    try {
      return frame.format === 'raw'
        ? await exifBlockOfRaw(handle, frame.exif ?? {})
        : await exifBlockOfTiff(handle);
    } finally {
      await handle.close();
    }
  }
  const { exif } = await metadataOf(frame.path);
  return exif && exifBlock(exif);
}

/** The ICC profile of a frame's pixels, byte for byte as embedded; undefined when it has none. */
export async function readIcc(frame: Pick<FrameFile, 'path' | 'raw'>): Promise<Buffer | undefined> {
  if (frame.raw) return iccProfile(frame.raw.development?.colourSpace ?? 'srgb');
  return (await metadataOf(frame.path)).icc;
}

/**
 * The EXIF of a picture (a path, or the whole bytes of a file) that concerns its capture. Impossible values are
 * dropped. A file without EXIF, or with a damaged block, gives {}.
 */
export async function readExif(source: string | Buffer): Promise<FrameExif> {
  if (typeof source !== 'string') return parseExif(source);
  const { format } = await metadataOf(source);
  const block = await readRawExif({ path: source, format: format === 'tiff' ? 'tiff' : 'jpeg' });
  return block ? parseExif(block) : {};
}

function metadataOf(file: string): Promise<Metadata> {
  return withImagePath(file, (path) => sharp(path, { limitInputPixels: false }).metadata());
}
