import { stat } from 'node:fs/promises';
import { basename, dirname } from 'node:path';
import sharp, { type Sharp } from 'sharp';
import { InputError, UsageError } from '../errors.js';
import { hasPictureEnding, hasRawEnding } from '../stack/file-kind.js';
import { developFrame } from '../stack/raw/develop-raw.js';
import { inspectRaw } from '../stack/raw/inspect-raw.js';
import { rawPreview } from '../stack/raw/raw-preview.js';
import { requireRegularFile } from '../stack/regular-file.js';
import { Gate } from '../view/gate.js';

/** Sides that are asked for, px: few, so that what was made serves again. */
export const thumbnailSides = [160, 320, 1280] as const;
export type ThumbnailSide = (typeof thumbnailSides)[number];

const keptBytes = 48e6;
const readOptions = { limitInputPixels: 1e9, failOn: 'none' } as const;
const quality = 80;

/** Two at once: a folder of large photographs must not take all cores. */
const gate = new Gate(2);
const kept = new Map<string, Buffer>();
let keptSize = 0;

/** The address of a picture made small, which changes with the file. */
export async function pictureAddress(path: string, side: ThumbnailSide = 320): Promise<string> {
  const mark = await stat(path).then(
    ({ mtimeMs, size }) => `${Math.round(mtimeMs)}-${size}`,
    () => '0',
  );
  return `thumbnail?${new URLSearchParams({ path, side: String(side), mark })}`;
}

/**
 * A photograph or result as a small JPEG in sRGB, upright.
 *
 * @param side Of the longer side, px.
 * @param gone Aborted when nobody waits for it any more.
 * @throws InputError for a file that is no picture.
 */
export async function thumbnail(path: string, side: ThumbnailSide, gone: AbortSignal): Promise<Buffer> {
  const { mtimeMs, size } = await stat(path);
  const key = `${side} ${mtimeMs} ${size} ${path}`;
  const known = kept.get(key);
  if (known) return known;
  const jpeg = await gate.pass(() => make(path, side), gone);
  keep(key, jpeg);
  return jpeg;
}

async function make(path: string, side: number): Promise<Buffer> {
  const isRaw = hasRawEnding(path);
  if (!isRaw && !hasPictureEnding(path)) {
    throw new InputError(`${basename(path)} is no picture that can be shown small.`);
  }
  try {
    await requireRegularFile(path);
    const picture = isRaw ? await rawPicture(path, side) : sharp(path, readOptions).autoOrient();
    return await picture
      .resize(side, side, { fit: 'inside', withoutEnlargement: true })
      .toColourspace('srgb')
      .jpeg({ quality })
      .toBuffer();
  } catch (error) {
    if (error instanceof UsageError) throw new InputError(error.message, { cause: error });
    throw new InputError(`${basename(path)} cannot be shown: it is damaged, or no picture.`, {
      cause: error,
    });
  }
}

/**
 * A raw file to be shown small: the preview that the camera put into it, or the file developed at half its size where it
 * holds none, or only one that is smaller than both that and what is asked for.
 */
async function rawPicture(path: string, side: number): Promise<Sharp> {
  const preview = await rawPreview(path);
  const previewSide = preview ? Math.max(preview.size.width, preview.size.height) : 0;
  if (preview && previewSide >= side) return preview.picture;
  const inspected = await inspectRaw(dirname(path), basename(path), readOptions.limitInputPixels);
  const { raw, size } = inspected.kind === 'photograph' ? inspected.photograph : {};
  const halfSide = size ? Math.max(size.width, size.height) >> 1 : 0;
  if (!raw || previewSide >= halfSide) {
    if (preview) return preview.picture;
    throw new Error('it cannot be developed');
  }
  const developed = await developFrame({ number: 1, name: basename(path), path, raw }, true);
  const { samples, width, height, channels } = developed;
  return sharp(samples, { raw: { width, height, channels } });
}

function keep(key: string, jpeg: Buffer): void {
  kept.set(key, jpeg);
  keptSize += jpeg.length;
  for (const [old, { length }] of kept) {
    if (keptSize <= keptBytes) return;
    kept.delete(old);
    keptSize -= length;
  }
}
