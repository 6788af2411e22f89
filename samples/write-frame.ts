import { join } from 'node:path';
import sharp, { type Exif } from 'sharp';

export type FrameFormat = 'jpg' | 'png' | 'tif';

/** What of the render options a frame's file and its EXIF need. */
export interface FrameFacts {
  width: number;
  height: number;
  bits: 8 | 16;
  format: FrameFormat;
  quality: number;
  fNumber: number;
  focalLengthMm: number;
}

/** Frames are taken this far apart, ms: more than one falls into a second, so that sub-seconds matter. */
const intervalMs = 640;

/** Writes one frame, number from 1, as `0001.jpg` and so on. Pixels: (height, width, 3), full range. */
export async function writeFrame(
  folder: string,
  number: number,
  pixels: Uint8Array | Uint16Array,
  facts: FrameFacts,
): Promise<void> {
  const { width, height, bits, format, quality } = facts;
  let image = sharp(pixels, { raw: { width, height, channels: 3 } });
  if (bits === 16) image = image.toColourspace('rgb16');
  if (format === 'tif') image = image.tiff({ compression: 'lzw', predictor: 'horizontal' });
  else image = image.withExif(exifOf(number, facts));
  if (format === 'png') image = image.png({ compressionLevel: 3 });
  if (format === 'jpg') image = image.jpeg({ quality, chromaSubsampling: '4:4:4' });
  await image.toFile(join(folder, `${String(number).padStart(4, '0')}.${format}`));
}

function exifOf(number: number, { fNumber, focalLengthMm }: FrameFacts): Exif {
  const taken = new Date(Date.UTC(2024, 0, 15, 10, 0, 0, 0) + (number - 1) * intervalMs).toISOString();
  const dateTime = taken.slice(0, 19).replaceAll('-', ':').replace('T', ' ');
  return {
    IFD0: { Make: 'Lamella', Model: 'Sample bench' },
    // The library counts the EXIF directory as the second.
    IFD2: {
      DateTimeOriginal: dateTime,
      SubSecTimeOriginal: taken.slice(20, 23),
      ExposureTime: '1/60',
      FNumber: `${Math.round(fNumber * 10)}/10`,
      ISOSpeedRatings: '100',
      FocalLength: `${Math.round(focalLengthMm * 10)}/10`,
      LensModel: `Thin lens ${focalLengthMm} mm`,
    },
  };
}
