import sharp from 'sharp';
import type { StripPicture } from './frame-signs.js';

const quality = 78;

/** A strip picture as data URI. */
export async function stripUri({ pixels, width, height }: StripPicture): Promise<string> {
  const jpeg = await sharp(pixels, { raw: { width, height, channels: 3 } })
    .jpeg({ quality })
    .toBuffer();
  return `data:image/jpeg;base64,${jpeg.toString('base64')}`;
}
