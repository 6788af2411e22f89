import { type FileHandle, stat } from 'node:fs/promises';
import { join } from 'node:path';
import sharp, { type Metadata } from 'sharp';
import type { Size } from '../image/image.js';
import { systemFailureOf } from '../system-failure.js';
import { fileErrorReason, firstLine } from './file-error.js';
import { hasPictureEnding, hasRawEnding, headBytes, isLeftover, kindOfContent } from './file-kind.js';
import type { FrameFile } from './frame.js';
import { fileMarkOf } from './frame-identity.js';
import { withImagePath } from './image-path.js';
import { exifBlock, parseExif } from './parse-exif.js';
import { isRawTiff } from './raw-tiff.js';
import { openRegularFile } from './regular-file.js';
import { exifBlockOfTiff } from './tiff-exif.js';

/** A photograph that can serve as a frame, before it has a number. */
export interface Photograph extends Omit<FrameFile, 'number'> {
  /** Pictures in the file; only the first is read. */
  pages: number;
}

/**
 * Result of inspecting a file of the folder. `reason` completes the sentence "NAME ..."; a lost photograph is empty,
 * damaged or unreadable, other unusable files may never have belonged to the stack.
 */
export type Inspected =
  | { kind: 'photograph'; photograph: Photograph }
  /** A camera raw file, known by its name or its first bytes; see `inspectRaw`. */
  | { kind: 'raw'; name: string }
  | { kind: 'unusable'; name: string; reason: string; isLost: boolean }
  | { kind: 'other'; name: string };

/**
 * Inspects one file without decoding it. Content decides; the name only indicates whether a file that cannot be read
 * was meant to be a photograph. Never throws for the content of a file.
 */
export async function inspectFile(folder: string, name: string, maxPixels: number): Promise<Inspected> {
  const path = join(folder, name);
  if (hasRawEnding(name)) return { kind: 'raw', name };
  if (isLeftover(name)) return { kind: 'other', name };
  // Files whose names are not those of photographs are ignored without a reason.
  const unusable = (reason: string, isLost: boolean): Inspected =>
    hasPictureEnding(name) ? { kind: 'unusable', name, reason, isLost } : { kind: 'other', name };
  let handle: FileHandle | undefined;
  try {
    // Opening a pipe would block for ever.
    if (!(await stat(path)).isFile()) return { kind: 'other', name };
    handle = await openRegularFile(path);
    const stats = await handle.stat({ bigint: true });
    if (stats.size === 0n) return unusable('is empty (0 bytes)', true);
    const { buffer, bytesRead } = await handle.read(Buffer.alloc(headBytes), 0, headBytes, 0);
    const content = kindOfContent(buffer.subarray(0, bytesRead));
    if (content.kind === 'unknown')
      return unusable('is no picture: its content is not JPEG, PNG, TIFF or WebP', false);
    if (content.kind === 'foreign') {
      return {
        kind: 'unusable',
        name,
        reason: `is a ${content.name} file: save it as TIFF, PNG or JPEG first`,
        isLost: false,
      };
    }
    if (content.kind === 'raw') return { kind: 'raw', name };
    if (content.format === 'tiff' && (await isRawTiff(handle))) return { kind: 'raw', name };
    const file = {
      ...{ path, name, sizeBytes: Number(stats.size), modifiedMs: Number(stats.mtimeNs) / 1e6 },
      fileMark: fileMarkOf(stats),
    };
    return await inspectPicture(file, handle, maxPixels);
  } catch (error) {
    // A failure of the machine is no fault of the file.
    const failure = systemFailureOf(error);
    if (failure) throw failure;
    return unusable(`cannot be read: ${fileErrorReason(error)}`, true);
  } finally {
    await handle?.close();
  }
}

async function inspectPicture(
  file: Pick<FrameFile, 'path' | 'name' | 'sizeBytes' | 'modifiedMs' | 'fileMark'>,
  handle: FileHandle,
  maxPixels: number,
): Promise<Inspected> {
  const { name } = file;
  let stored: Metadata;
  try {
    stored = await withImagePath(file.path, (path) => sharp(path, { limitInputPixels: false }).metadata());
  } catch (error) {
    const failure = systemFailureOf(error);
    if (failure) throw failure;
    return { kind: 'unusable', name, reason: `is cut short or damaged (${firstLine(error)})`, isLost: true };
  }
  const reason = whyNoFrame(stored, maxPixels);
  if (reason !== undefined) return { kind: 'unusable', name, reason, isLost: false };
  const block =
    stored.format === 'tiff' ? await exifBlockOfTiff(handle) : stored.exif && exifBlock(stored.exif);
  const orientation = stored.orientation ?? 1;
  return {
    kind: 'photograph',
    photograph: {
      ...file,
      size: stored.autoOrient,
      bits: stored.depth === 'ushort' ? 16 : 8,
      channels: stored.channels < 3 ? 1 : 3,
      hasAlpha: stored.hasAlpha,
      format: stored.format as FrameFile['format'],
      orientation: orientation >= 1 && orientation <= 8 ? orientation : 1,
      exif: block ? parseExif(block) : {},
      pages: stored.pages ?? 1,
    },
  };
}

/** Completes the sentence "NAME ..." of a picture that is larger than allowed. */
export function tooManyPixels({ width, height }: Size, maxPixels: number): string {
  const limit = Number((maxPixels / 1e6).toPrecision(4));
  return `says it holds ${width} x ${height} pixels, more than the limit of ${limit} megapixels`;
}

/** Why a readable picture cannot be a frame; undefined when it can. */
function whyNoFrame(stored: Metadata, maxPixels: number): string | undefined {
  const { width, height, depth, space } = stored;
  if (width * height > maxPixels) return tooManyPixels(stored, maxPixels);
  if (depth !== 'uchar' && depth !== 'ushort') {
    return `holds ${depthWords[depth] ?? depth} samples: save it as 16-bit TIFF first`;
  }
  if (space === 'cmyk') return 'is CMYK, the inks of a print: save it as RGB first';
  if (!['srgb', 'rgb', 'rgb16', 'b-w', 'grey16'].includes(space)) {
    return `has the colour space ${space}: save it as RGB or grey first`;
  }
  return undefined;
}

const depthWords: Record<string, string> = {
  float: '32-bit floating-point',
  double: '64-bit floating-point',
  uint: '32-bit integer',
  int: 'signed 32-bit integer',
  short: 'signed 16-bit integer',
  char: 'signed 8-bit integer',
};
