import sharp, { type Sharp } from 'sharp';
import type { Size } from '../../image/image.js';
import { rawWorkers } from './raw-workers.js';

/** A preview may hold any number of pixels that a camera has; small errors in it do not matter. */
const readOptions = { limitInputPixels: 1e9, failOn: 'none' } as const;
/** Degrees by which a preview is turned, by what LibRaw does to the sensor's picture. */
const turnOfFlip: Readonly<Record<number, number>> = { 3: 180, 5: 270, 6: 90 };

/** The picture that a camera put into a raw file. */
export interface RawPreviewPicture {
  /** Upright. */
  picture: Sharp;
  /** Of the upright picture. */
  size: Size;
}

/**
 * The preview in a raw file, which is there in a fraction of the time of a development, with the tones that the camera
 * gave it: to look at, not to judge light by. Undefined where there is none.
 *
 * @throws RawJobError for a file that LibRaw cannot open; UsageError when LibRaw is not installed.
 */
export async function rawPreview(path: string): Promise<RawPreviewPicture | undefined> {
  const preview = await rawWorkers.run({ kind: 'preview', path });
  if (!preview) return undefined;
  const { data, width, height, format, flip } = preview;
  if (format === 'bitmap') {
    const turn = turnOfFlip[flip] ?? 0;
    const picture = sharp(data, { raw: { width, height, channels: 3 } }).rotate(turn);
    return { picture, size: turned({ width, height }, turn % 180 !== 0) };
  }
  const jpeg = sharp(data, readOptions);
  const stored = await jpeg.metadata().catch(() => undefined);
  if (!stored) return undefined;
  if (stored.orientation !== undefined) {
    return { picture: jpeg.autoOrient(), size: turned(stored, stored.orientation > 4) };
  }
  const turn = turnOfFlip[flip] ?? 0;
  return { picture: jpeg.rotate(turn), size: turned(stored, turn % 180 !== 0) };
}

function turned({ width, height }: Size, isTurned: boolean): Size {
  return isTurned ? { width: height, height: width } : { width, height };
}
