import { stat } from 'node:fs/promises';
import { basename } from 'node:path';
import sharp, { type Sharp } from 'sharp';
import { InputError } from '../errors.js';
import { hasPictureEnding, hasRawEnding } from '../stack/file-kind.js';
import { rawWorkers } from '../stack/raw/raw-workers.js';
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
    const picture = isRaw ? await rawPreview(path) : sharp(path, readOptions).autoOrient();
    return await picture
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

/** Degrees by which a preview is turned, by what LibRaw does to the sensor's picture. */
const turnOfFlip: Readonly<Record<number, number>> = { 3: 180, 5: 270, 6: 90 };

/** The picture that the camera put into a raw file, upright: developing it takes seconds. */
async function rawPreview(path: string): Promise<Sharp> {
  const preview = await rawWorkers.run({ kind: 'preview', path });
  if (!preview) throw new Error('it holds no preview');
  const { data, width, height, format, flip } = preview;
  if (format === 'bitmap')
    return sharp(data, { raw: { width, height, channels: 3 } }).rotate(turnOfFlip[flip] ?? 0);
  const jpeg = sharp(data, readOptions);
  const { orientation } = await jpeg.metadata();
  return orientation === undefined ? jpeg.rotate(turnOfFlip[flip] ?? 0) : jpeg.autoOrient();
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
