import type { Size } from '../../src/image/image.js';
import { burntColumns, burntRows, lumaOffset, rowSkipMinPixels } from '../../src/model/constants/rail.js';
import type { DecodedFrame } from '../../src/stack/decode.js';

/** Plain twin of `encodedLuma`. */
export function encodedLuma({ pixels, channels, bits }: DecodedFrame): Float32Array {
  const unit = bits === 16 ? 1 / 257 : 1;
  return Float32Array.from({ length: pixels.length / channels }, (_, i) => {
    if (channels === 1) return unit * pixels[i];
    return (unit / 4) * (pixels[3 * i] + 2 * pixels[3 * i + 1] + pixels[3 * i + 2]);
  });
}

/** Plain twin of `detailCells`, over all cells: energies of the four directions and brightness of each. */
export function detailOf(luma: Float32Array, { width, height }: Size, cell: number, spacing: number) {
  const columns = Math.max(1, Math.floor(width / cell));
  const rows = Math.max(1, Math.floor(height / cell));
  const step = width * height >= rowSkipMinPixels ? 2 : 1;
  const down = spacing * width;
  const away = [spacing, down, down + spacing, down - spacing];
  const energy: number[] = [];
  const light: number[] = [];
  for (let row = 0; row < rows; row++) {
    for (let column = 0; column < columns; column++) {
      const sums = [0, 0, 0, 0];
      let bright = 0;
      let count = 0;
      for (
        let y = Math.max(spacing, row * cell);
        y < Math.min(height - spacing, (row + 1) * cell);
        y += step
      ) {
        const right = Math.min(width - spacing, (column + 1) * cell);
        for (let x = Math.max(spacing, column * cell); x < right; x++) {
          const i = y * width + x;
          for (let d = 0; d < 4; d++) sums[d] += (2 * luma[i] - luma[i - away[d]] - luma[i + away[d]]) ** 2;
          bright += luma[i];
          count++;
        }
      }
      energy.push(...sums.map((sum) => (count > 0 ? sum / count : 0)));
      light.push(count > 0 ? bright / count : 0);
    }
  }
  return { columns, rows, energy, light };
}

/** Plain twin of `countClipped`, over all rows: its counts and its cells. */
export function clippedOf({ pixels, width, height, channels }: DecodedFrame, top: number, bottom: number) {
  const counts = [0, 0, 0, 0];
  const cells = new Array<number>(burntColumns * burntRows).fill(0);
  for (let y = 0; y < height; y += width * height >= rowSkipMinPixels ? 2 : 1) {
    for (let x = 0; x < width; x++) {
      const at = (y * width + x) * channels;
      const samples = channels === 3 ? [...pixels.subarray(at, at + 3)] : new Array(3).fill(pixels[at]);
      if (samples.some((sample) => sample >= top)) {
        const row = Math.floor((y * burntRows) / height);
        cells[row * burntColumns + Math.floor((x * burntColumns) / width)]++;
      }
      if (samples.every((sample) => sample <= bottom)) counts[0]++;
      else for (const [c, sample] of samples.entries()) if (sample <= bottom) counts[1 + c]++;
    }
  }
  return { counts, cells };
}

/** Plain twin of `boxLogs`, with logarithms that no table rounds where the mean is one of its entries. */
export function spotLight(luma: Float32Array, { width, height }: Size, boxes: number): Float32Array {
  const columns = Math.floor(width / boxes);
  const rows = Math.floor(height / boxes);
  return Float32Array.from({ length: columns * rows }, (_, i) => {
    const left = (i % columns) * boxes;
    const top = Math.floor(i / columns) * boxes;
    let sum = 0;
    for (let j = 0; j < boxes; j++) for (let k = 0; k < boxes; k++) sum += luma[(top + j) * width + left + k];
    return Math.log(Math.round((64 * sum) / boxes ** 2) / 64 + lumaOffset);
  });
}
