import { createHash } from 'node:crypto';
import { minBurntLevel } from '../model/constants/model.js';
import { burntColumns, burntRows, maxBlockedLevel, rowSkipMinPixels } from '../model/constants/rail.js';
import type { DecodedFrame } from '../stack/decode.js';
import { type DetailGrid, measureDetail } from './detail-grid.js';

/** What is measured of a frame while its pixels are in memory. */
export interface FrameMeasurements extends FrameFacts {
  detail: DetailGrid;
}

/** The measurements without the grid of its detail, which takes most of the memory. */
export interface FrameFacts {
  number: number;
  /** Hash that is equal for frames of identical pixels only. */
  fingerprint: string;
  /** Share of pixels with a channel at the top of its range, percent. */
  burntPercent: number;
  /** Share of pixels with every channel at the bottom of its range, percent. */
  blockedPercent: number;
  /** Share of pixels in which this channel is at the bottom of its range and another is not, percent; by channel. */
  cutPercent: number[];
  /** Centre of the cell with most burnt pixels, full-size pixels; undefined without any. */
  burntSpot: { x: number; y: number } | undefined;
}

/** Measures one frame on its reduced picture and its luma. */
export function measureFrame(number: number, decoded: DecodedFrame, luma: Float32Array): FrameMeasurements {
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
  const top = minBurntLevel * unit;
  const bottom = maxBlockedLevel * unit;
  const cells = new Uint32Array(burntColumns * burntRows);
  const rowStep = width * height >= rowSkipMinPixels ? 2 : 1;
  // Grey pictures: the one channel is read three times.
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
