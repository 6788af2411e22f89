import sharp from 'sharp';
import type { DecodedFrame } from '../stack/decode.js';
import type { FrameFile } from '../stack/frame.js';
import { rawPreview } from '../stack/raw/raw-preview.js';

/** Small picture of a frame for the strip: (height, width, 3), 8 bits. */
export interface StripPicture {
  pixels: Uint8Array;
  width: number;
  height: number;
}

const stripHeight = 96;
const quality = 78;

/** A strip picture as a JPEG file. */
export function stripJpeg({ pixels, width, height }: StripPicture): Promise<Buffer> {
  return sharp(pixels, { raw: { width, height, channels: 3 } })
    .jpeg({ quality })
    .toBuffer();
}

/** A strip picture as data URI. */
export async function stripUri(strip: StripPicture): Promise<string> {
  const jpeg = await stripJpeg(strip);
  return `data:image/jpeg;base64,${jpeg.toString('base64')}`;
}

/** A preview whose shape differs from that of the frame by more than this shows another part of it. */
const maxShapeRatio = 1.02;

/**
 * Makes the small picture of a frame for the strip: of a raw file from the preview that is in it, which shows the frame as
 * the camera did, else from its pixels.
 */
export async function stripPicture(frame: FrameFile, decoded: DecodedFrame): Promise<StripPicture> {
  return (frame.raw && (await stripOfPreview(frame))) ?? stripOfPixels(decoded);
}

async function stripOfPreview({ path, size }: FrameFile): Promise<StripPicture | undefined> {
  try {
    const preview = await rawPreview(path);
    if (!preview || preview.size.height < stripHeight) return undefined;
    const shape = (preview.size.width * size.height) / (preview.size.height * size.width);
    if (Math.max(shape, 1 / shape) > maxShapeRatio) return undefined;
    const { data, info } = await preview.picture
      .resize({ height: stripHeight })
      .toColourspace('srgb')
      .removeAlpha()
      .raw()
      .toBuffer({ resolveWithObject: true });
    return info.channels === 3 ? { pixels: data, width: info.width, height: info.height } : undefined;
  } catch {
    // The pixels, which are there, serve as well.
    return undefined;
  }
}

function stripOfPixels({ pixels, width, height, channels, bits }: DecodedFrame): StripPicture {
  const factor = Math.max(1, height / stripHeight);
  const small = { width: Math.max(1, Math.round(width / factor)), height: Math.round(height / factor) };
  const out = new Uint8Array(small.width * small.height * 3);
  const shift = bits === 16 ? 8 : 0;
  // Two by two samples a pixel calm the picture enough for its size.
  const quarter = factor / 4;
  const near = (index: number, side: number, count: number) =>
    Math.min(count - 1, Math.floor((index + 0.5) * factor + side * quarter));
  for (let y = 0, o = 0; y < small.height; y++) {
    const upper = near(y, -1, height) * width;
    const lower = near(y, 1, height) * width;
    for (let x = 0; x < small.width; x++, o += 3) {
      const left = near(x, -1, width);
      const right = near(x, 1, width);
      const a = (upper + left) * channels;
      const b = (upper + right) * channels;
      const c = (lower + left) * channels;
      const d = (lower + right) * channels;
      for (let channel = 0; channel < 3; channel++) {
        const i = channels === 3 ? channel : 0;
        out[o + channel] = (pixels[a + i] + pixels[b + i] + pixels[c + i] + pixels[d + i]) >> (2 + shift);
      }
    }
  }
  return { pixels: out, ...small };
}
