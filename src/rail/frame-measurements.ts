import { createHash } from 'node:crypto';
import { pieceKernels } from '../kernels/piece-kernels.js';
import { minBurntLevel } from '../model/constants/model.js';
import { burntColumns, burntRows, maxBlockedLevel, rowSkipMinPixels } from '../model/constants/rail.js';
import type { DecodedFrame } from '../stack/decode.js';
import type { DetailGrid } from './detail-grid.js';

/** Rows of a strip, an even number; kernels are called by strips. */
const stripRows = 128;
/** What `countClipped` counts beside the cells. */
const countsOfPixels = 4;

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

/** Hash of the detail of a picture: thousands of sums over all pixels, which noise makes differ between any two exposures. */
export function fingerprintOf({ energy }: DetailGrid): string {
  const { buffer, byteOffset, byteLength } = energy;
  return createHash('sha1')
    .update(Buffer.from(buffer, byteOffset, byteLength))
    .digest('base64');
}

/** Bytes that `measureClipping` counts in. */
export const clippingBytes = 4 * (countsOfPixels + burntColumns * burntRows);

/** Counts the clipped pixels of a picture whose samples lie at an address in the memory of `pieceKernels`. */
export function measureClipping(
  samples: number,
  { width, height, channels, bits, shrink }: Omit<DecodedFrame, 'pixels'>,
  room: Uint8Array,
): Pick<FrameFacts, 'burntPercent' | 'blockedPercent' | 'cutPercent' | 'burntSpot'> {
  const unit = bits === 16 ? 257 : 1;
  const rowStep = width * height >= rowSkipMinPixels ? 2 : 1;
  const kernels = pieceKernels();
  room.fill(0);
  const counts = new Uint32Array(room.buffer, room.byteOffset, countsOfPixels);
  const cells = new Uint32Array(room.buffer, room.byteOffset + counts.byteLength, burntColumns * burntRows);
  for (let from = 0; from < height; from += stripRows) {
    kernels.countClipped({
      ...{ samples, bits, channels, width, height, rowStep, counts, cells },
      from,
      to: Math.min(height, from + stripRows),
      top: minBurntLevel * unit,
      bottom: maxBlockedLevel * unit,
      cellColumns: burntColumns,
      cellRows: burntRows,
    });
  }
  const count = width * Math.ceil(height / rowStep);
  const burnt = cells.reduce((sum, value) => sum + value, 0);
  const fullest = cells.indexOf(Math.max(...cells));
  const column = fullest % burntColumns;
  const [blocked, ...cut] = counts;
  return {
    burntPercent: (100 * burnt) / count,
    blockedPercent: (100 * blocked) / count,
    cutPercent: cut.map((pixels) => (100 * pixels) / count),
    burntSpot:
      burnt === 0
        ? undefined
        : {
            x: Math.round(((column + 0.5) / burntColumns) * width * shrink),
            y: Math.round((((fullest - column) / burntColumns + 0.5) / burntRows) * height * shrink),
          },
  };
}
