import { statfs } from 'node:fs/promises';
import { dirname } from 'node:path';
import sharp, { type Sharp } from 'sharp';
import { InputError, OutputError } from '../errors.js';
import { fileErrorReason, firstLine } from '../stack/file-error.js';
import { requireRegularFile } from '../stack/regular-file.js';
import { Raster } from './raster.js';

/** A disk with less room than this was filled by what failed. */
const minFreeBytes = 4e6;

/** How the samples of a file are to be stored. */
export type Content = 'colour' | 'grey8' | 'grey16';

/**
 * An uncompressed copy of a picture that cannot be read by parts, upright, its profile not applied; streamed to disk,
 * so that memory does not follow its size.
 *
 * @param copy File to write.
 * @throws InputError when the picture cannot be read; OutputError when the copy cannot be written.
 */
export async function flatCopy(
  path: string,
  content: Content,
  copy: string,
  flags: 'r' | 'r+' = 'r',
): Promise<Raster> {
  try {
    await requireRegularFile(path);
  } catch (error) {
    throw new InputError(`Cannot read ${path}: ${fileErrorReason(error)}.`, { cause: error });
  }
  try {
    const options = { ignoreIcc: true, limitInputPixels: false, failOn: 'warning' } as const;
    const { depth, channels } = await sharp(path, options).metadata();
    const picture = sharp(path, options).autoOrient().removeAlpha();
    await stored(picture, content, depth === 'ushort', channels < 3)
      .tiff({ compression: 'none' })
      .toFile(copy);
  } catch (error) {
    // The library says on which side it failed by the file that it names alone, and that not always.
    const isFullNow = await isFull(dirname(copy));
    if (isFullNow || firstLine(error).includes(copy)) {
      const reason = isFullNow ? 'the disk is full' : 'the system refused to write so much there';
      throw new OutputError(
        `Cannot unpack ${path} to ${dirname(copy)}: ${reason}. Free some space and run again.`,
        { cause: error },
      );
    }
    throw new InputError(`Cannot read ${path} (${firstLine(error)}): it is missing or damaged.`, {
      cause: error,
    });
  }
  const raster = await Raster.open(copy, flags);
  if (!raster) throw new Error(`${copy} was not written as it should be`);
  return raster;
}

async function isFull(folder: string): Promise<boolean> {
  const { bavail, bsize } = await statfs(folder);
  return bavail * bsize < minFreeBytes;
}

function stored(picture: Sharp, content: Content, isDeep: boolean, isGrey: boolean): Sharp {
  if (content === 'grey8') return picture.toColourspace('b-w');
  if (content === 'grey16') return picture.toColourspace('grey16');
  if (isDeep) return picture.toColourspace(isGrey ? 'grey16' : 'rgb16');
  return picture.toColourspace(isGrey ? 'b-w' : 'srgb');
}
