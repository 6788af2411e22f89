import { join } from 'node:path';
import sharp from 'sharp';
import type { Size } from '../../../src/image/image.js';

/** What the EXIF of a photograph tells. */
export interface Told {
  model: string;
  lens: string;
  focalLengthMm: number;
  exposure: string;
  fNumber: number;
  whiteBalance: 'auto' | 'manual';
  /** Time after the first frame. */
  afterMs: number;
}

export const usuallyTold: Omit<Told, 'afterMs'> = {
  model: 'Sample bench',
  lens: 'Thin lens 50 mm',
  focalLengthMm: 50,
  exposure: '1/60',
  fNumber: 5.6,
  whiteBalance: 'manual',
};

/** From one frame to the next, as the cameras of `samples` take them. */
export const intervalMs = 640;

/** Writes 8-bit pixels, (height, width, 3), as `0001.jpg` and so on, resized to `as` where that is given. */
export async function writePhotograph(
  folder: string,
  number: number,
  pixels: Uint8Array,
  size: Size,
  told: Told,
  as: Size | undefined,
): Promise<void> {
  const taken = new Date(Date.UTC(2024, 0, 15, 10, 0, 0, 0) + told.afterMs).toISOString();
  const picture = sharp(pixels, { raw: { ...size, channels: 3 } });
  if (as) picture.resize({ ...as, fit: 'fill' });
  await picture
    .withExif({
      IFD0: { Make: 'Lamella', Model: told.model },
      // The library counts the EXIF directory as the second.
      IFD2: {
        DateTimeOriginal: taken.slice(0, 19).replaceAll('-', ':').replace('T', ' '),
        SubSecTimeOriginal: taken.slice(20, 23),
        ExposureTime: told.exposure,
        FNumber: `${Math.round(told.fNumber * 10)}/10`,
        ISOSpeedRatings: '100',
        FocalLength: `${told.focalLengthMm}/1`,
        LensModel: told.lens,
        WhiteBalance: told.whiteBalance === 'auto' ? '0' : '1',
      },
    })
    .jpeg({ quality: 95, chromaSubsampling: '4:4:4' })
    .toFile(join(folder, `${String(number).padStart(4, '0')}.jpg`));
}
