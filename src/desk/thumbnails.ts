import { stat } from 'node:fs/promises';
import { basename } from 'node:path';
import sharp from 'sharp';
import { InputError } from '../errors.js';
import { hasPictureEnding } from '../stack/file-kind.js';
import { requireRegularFile } from '../stack/regular-file.js';
import { Gate } from '../view/gate.js';

/** Sides that are asked for, px: few, so that what was made serves again. */
export const thumbnailSides = [160, 320, 1280] as const;
export type ThumbnailSide = (typeof thumbnailSides)[number];

const keptBytes = 48e6;
const maxPixels = 1e9;
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
  if (!hasPictureEnding(path))
    throw new InputError(`${basename(path)} is no picture that can be shown small.`);
  try {
    await requireRegularFile(path);
    return await sharp(path, { limitInputPixels: maxPixels, failOn: 'none' })
      .autoOrient()
      .resize(side, side, { fit: 'inside', withoutEnlargement: true })
      .toColourspace('srgb')
      .jpeg({ quality })
      .toBuffer();
  } catch (error) {
    throw new InputError(`${basename(path)} cannot be shown: it is damaged, or no picture.`, {
      cause: error,
    });
  }
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
