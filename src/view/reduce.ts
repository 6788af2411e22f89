import { type RowSource, type Samples, takeSamples } from '../mend/raster.js';
import type { PictureRegion } from '../trace/picture-region.js';

/** Rows and columns of a block that are read for its mean: more do not change what the eye sees. */
const samplesPerSide = 4;

/**
 * A region at 1/step: each pixel of the answer stands for a block of step x step (cut off at the picture's edge).
 * `mean` averages over a grid of up to 4 x 4 of the block's pixels, numbers that are NaN left out; `pick` takes the
 * middle one, for values that have no mean.
 *
 * @param region In pixels of the answer: block (x, y) begins at pixel (x step, y step).
 * @returns Interleaved, (height, width, channels); NaN where a block has no number.
 */
export function readReduced(
  source: RowSource,
  region: PictureRegion,
  step: number,
  how: 'mean' | 'pick',
): Float32Array {
  const { channels } = source;
  const { width, height } = region;
  const out = new Float32Array(width * height * channels);
  const left = region.x * step;
  const count = Math.min(source.width - left, width * step);
  const row = takeSamples(source.bits, count * channels);
  const offsets = sampleOffsets(width, step, count, channels, how);
  const inBlock = offsetsInBlock(step, how);
  for (let y = 0; y < height; y++) {
    const top = (region.y + y) * step;
    const rows = inBlock.map((offset) => top + offset).filter((wanted) => wanted < source.height);
    // A block at the lower edge may end before its first sample.
    if (rows.length === 0) rows.push(source.height - 1);
    const sums = out.subarray(y * width * channels, (y + 1) * width * channels);
    const counts = source.bits === 32 ? new Float32Array(sums.length) : undefined;
    for (const wanted of rows) {
      source.readRow(wanted, left, count, row);
      if (counts) addNumbers(row, offsets, channels, sums, counts);
      else addSamples(row, offsets, channels, sums);
    }
    const each = rows.length * inBlock.length;
    for (let i = 0; i < sums.length; i++) sums[i] /= counts ? counts[i] : each;
  }
  return out;
}

/** Where in a block of `step` pixels samples are taken along one axis. */
function offsetsInBlock(step: number, how: 'mean' | 'pick'): number[] {
  if (how === 'pick') return [step >> 1];
  const perSide = Math.min(step, samplesPerSide);
  return Array.from({ length: perSide }, (_, i) => Math.floor(((i + 0.5) * step) / perSide));
}

/** Index of the first channel of each sample in a row, block by block, (width, samples a block). */
function sampleOffsets(
  width: number,
  step: number,
  count: number,
  channels: number,
  how: 'mean' | 'pick',
): Int32Array {
  const inBlock = offsetsInBlock(step, how);
  const offsets = new Int32Array(width * inBlock.length);
  for (let x = 0, i = 0; x < width; x++) {
    for (const offset of inBlock) offsets[i++] = Math.min(count - 1, x * step + offset) * channels;
  }
  return offsets;
}

/** Adds whole numbers: the loop of every tile of a picture. */
function addSamples(row: Samples, offsets: Int32Array, channels: number, sums: Float32Array): void {
  const perBlock = (offsets.length * channels) / sums.length;
  for (let i = 0, at = 0; i < sums.length; i += channels) {
    for (let end = at + perBlock; at < end; at++) {
      const offset = offsets[at];
      for (let channel = 0; channel < channels; channel++) sums[i + channel] += row[offset + channel];
    }
  }
}

/** Adds numbers that may be missing (NaN), and counts those that are not. */
function addNumbers(
  row: Samples,
  offsets: Int32Array,
  channels: number,
  sums: Float32Array,
  counts: Float32Array,
): void {
  const perBlock = (offsets.length * channels) / sums.length;
  for (let i = 0, at = 0; i < sums.length; i += channels) {
    for (let end = at + perBlock; at < end; at++) {
      for (let channel = 0; channel < channels; channel++) {
        const value = row[offsets[at] + channel];
        if (Number.isNaN(value)) continue;
        sums[i + channel] += value;
        counts[i + channel]++;
      }
    }
  }
}
