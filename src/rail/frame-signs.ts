import { createHash } from 'node:crypto';
import type { DecodedFrame } from '../stack/decode.js';
import { type DetailGrid, manyPixels, measureDetail } from './detail-grid.js';

/** What is kept of a frame after its pixels are gone. */
export interface FrameSigns {
  number: number;
  detail: DetailGrid;
  /** Same for two frames of the very same pixels alone. */
  fingerprint: string;
  /** Share of pixels with a channel at the top of its range, percent. */
  burntPercent: number;
  /** Share of pixels with every channel at the bottom of its range, percent. */
  blockedPercent: number;
  /** Share of pixels in which this channel is at the bottom of its range and another is not, percent; by channel. */
  cutPercent: number[];
  /** Where most of the burnt pixels lie, full-size pixels; undefined without any. */
  burntSpot: { x: number; y: number } | undefined;
}

/** Samples this near the ends of the range are clipped: JPEG blurs the ends by a level or two. */
const burntFrom = 253;
const blockedTo = 1;
/** Cells across and down in which burnt pixels are counted. */
const burntColumns = 12;
const burntRows = 8;

/** Takes the signs of one frame from its reduced picture and its luma. */
export function frameSigns(number: number, decoded: DecodedFrame, luma: Float32Array): FrameSigns {
  const { width, height, shrink } = decoded;
  const detail = measureDetail(luma, width, height);
  const { buffer, byteOffset, byteLength } = detail.energy;
  return {
    number,
    detail,
    // Thousands of sums over all pixels: noise makes them differ between any two exposures.
    fingerprint: createHash('sha1')
      .update(Buffer.from(buffer, byteOffset, byteLength))
      .digest('base64'),
    ...clipping(decoded, shrink),
  };
}

function clipping({ pixels, width, height, channels, bits }: DecodedFrame, shrink: number) {
  const unit = bits === 16 ? 257 : 1;
  const top = burntFrom * unit;
  const bottom = blockedTo * unit;
  const cells = new Uint32Array(burntColumns * burntRows);
  const rowStep = width * height >= manyPixels ? 2 : 1;
  // Of grey pictures the one channel is looked at three times.
  const [second, third] = channels === 3 ? [1, 2] : [0, 0];
  let blocked = 0;
  let [cutRed, cutGreen, cutBlue] = [0, 0, 0];
  for (let y = 0; y < height; y += rowStep) {
    const row = Math.floor((y * burntRows) / height) * burntColumns;
    let i = y * width * channels;
    for (let x = 0; x < width; x++, i += channels) {
      const red = pixels[i];
      const green = pixels[i + second];
      const blue = pixels[i + third];
      if (red >= top || green >= top || blue >= top) cells[row + Math.floor((x * burntColumns) / width)]++;
      if (red > bottom && green > bottom && blue > bottom) continue;
      if (red <= bottom && green <= bottom && blue <= bottom) {
        blocked++;
        continue;
      }
      if (red <= bottom) cutRed++;
      if (green <= bottom) cutGreen++;
      if (blue <= bottom) cutBlue++;
    }
  }
  const count = width * Math.ceil(height / rowStep);
  const burnt = cells.reduce((sum, value) => sum + value, 0);
  const fullest = cells.indexOf(Math.max(...cells));
  const column = fullest % burntColumns;
  return {
    burntPercent: (100 * burnt) / count,
    blockedPercent: (100 * blocked) / count,
    cutPercent: [cutRed, cutGreen, cutBlue].map((cut) => (100 * cut) / count),
    burntSpot:
      burnt === 0
        ? undefined
        : {
            x: Math.round(((column + 0.5) / burntColumns) * width * shrink),
            y: Math.round((((fullest - column) / burntColumns + 0.5) / burntRows) * height * shrink),
          },
  };
}
