import type { PixelData } from '../image/image.js';

/**
 * Reduces (rows, cols, channels) to (floor(rows / k), floor(cols / k), channels), each sample the mean of
 * its k x k block rounded to the nearest (halves up). Columns and rows beyond the last whole block are not
 * used. k is a power of two from 2 to 64; the type of the samples is kept.
 */
export function averageBoxes(
  samples: PixelData,
  width: number,
  height: number,
  channels: 1 | 3,
  k: number,
): PixelData {
  const outWidth = Math.floor(width / k);
  const outHeight = Math.floor(height / k);
  const rowLength = outWidth * channels;
  const small =
    samples instanceof Uint8Array
      ? new Uint8Array(rowLength * outHeight)
      : new Uint16Array(rowLength * outHeight);
  if (k === 2) {
    averagePairs(small, samples, width, channels);
    return small;
  }
  // At most 64 x 64 x 65535 < 2^28: exact in 32-bit integers.
  const sums = new Uint32Array(rowLength);
  const area = k * k;
  for (let outRow = 0; outRow < outHeight; outRow++) {
    sums.fill(0);
    for (let row = outRow * k; row < (outRow + 1) * k; row++) {
      addRow(sums, samples, row * width * channels, channels, k);
    }
    const start = outRow * rowLength;
    for (let i = 0; i < rowLength; i++) small[start + i] = (sums[i] + area / 2) / area;
  }
  return small;
}

/** The same for k = 2 without sums kept in memory: twice as fast and more. */
function averagePairs(small: PixelData, samples: PixelData, width: number, channels: 1 | 3): void {
  const below = width * channels;
  const rowLength = Math.floor(width / 2) * channels;
  for (let out = 0, start = 0; out < small.length; out += rowLength, start += 2 * below) {
    for (let i = out, at = start; i < out + rowLength; at += 2 * channels) {
      for (let c = 0; c < channels; c++, i++) {
        const p = at + c;
        const sum = samples[p] + samples[p + channels] + samples[p + below] + samples[p + below + channels];
        small[i] = (sum + 2) >> 2;
      }
    }
  }
}

/** Adds the samples of one row that begins at `start` to the sums of their blocks. */
function addRow(sums: Uint32Array, samples: PixelData, start: number, channels: 1 | 3, k: number): void {
  let at = start;
  for (let out = 0; out < sums.length; out += channels) {
    for (let i = 0; i < k; i++, at += channels) {
      sums[out] += samples[at];
      if (channels === 3) {
        sums[out + 1] += samples[at + 1];
        sums[out + 2] += samples[at + 2];
      }
    }
  }
}
