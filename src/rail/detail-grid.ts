import { differencePx, minCellPx, rowSkipMinPixels, targetCells } from '../model/constants/rail.js';
import type { DecodedFrame } from '../stack/decode.js';

/** Directions in which fine detail is measured. */
export const directionCount = 4;

/** Fine detail of one frame by square cells: the measurement behind focus, shake and steps. */
export interface DetailGrid {
  columns: number;
  rows: number;
  /** Side of a cell, pixels of the decoded picture. */
  cellPx: number;
  /**
   * (rows, columns, 4): mean square of the second difference across, down and along both diagonals, in squared
   * 8-bit levels. Noise included.
   */
  energy: Float32Array;
  /** (rows, columns): mean brightness, 8-bit levels. */
  light: Float32Array;
}

/** Side of the cells for pictures of this many pixels. */
export function cellSide(pixels: number): number {
  return Math.max(minCellPx, Math.round(Math.sqrt(pixels / targetCells)));
}

/**
 * Brightness (rows, cols) as the file encodes it, 0 to 255: (R + 2 G + B) / 4, an approximation of luma.
 *
 * @param luma Output buffer of `width * height` samples: allocating one for every frame costs more than the sums.
 */
export function encodedLuma(
  { pixels, width, height, channels, bits }: DecodedFrame,
  luma = new Float32Array(width * height),
): Float32Array {
  const unit = bits === 16 ? 1 / 257 : 1;
  if (channels === 1) {
    for (let i = 0; i < luma.length; i++) luma[i] = unit * pixels[i];
    return luma;
  }
  for (let i = 0, p = 0; i < luma.length; i++, p += 3) {
    luma[i] = (unit / 4) * (pixels[p] + 2 * pixels[p + 1] + pixels[p + 2]);
  }
  return luma;
}

/**
 * Measures the detail of a picture, luma (height, width) in 8-bit levels.
 *
 * The measure is the modified Laplacian of Nayar & Nakagawa, IEEE PAMI 16(8), 1994, squared and kept apart by
 * direction, with the second difference taken over two pixels, where noise weighs less.
 *
 * @param spacingPx Spacing of the second difference: more for broader detail.
 */
export function measureDetail(
  luma: Float32Array,
  width: number,
  height: number,
  cellPx = cellSide(width * height),
  spacingPx = differencePx,
): DetailGrid {
  const columns = Math.max(1, Math.floor(width / cellPx));
  const rows = Math.max(1, Math.floor(height / cellPx));
  const energy = new Float32Array(rows * columns * directionCount);
  const light = new Float32Array(rows * columns);
  const rowStep = width * height >= rowSkipMinPixels ? 2 : 1;
  const down = spacingPx * width;
  const downRight = down + spacingPx;
  const downLeft = down - spacingPx;
  for (let row = 0; row < rows; row++) {
    const top = Math.max(spacingPx, row * cellPx);
    const bottom = Math.min(height - spacingPx, (row + 1) * cellPx);
    for (let column = 0; column < columns; column++) {
      const left = Math.max(spacingPx, column * cellPx);
      const right = Math.min(width - spacingPx, (column + 1) * cellPx);
      let horizontal = 0;
      let vertical = 0;
      let diagonal = 0;
      let antiDiagonal = 0;
      let twiceSum = 0;
      let count = 0;
      for (let y = top; y < bottom; y += rowStep) {
        const start = y * width;
        for (let i = start + left; i < start + right; i++) {
          const twice = 2 * luma[i];
          const h = twice - luma[i - spacingPx] - luma[i + spacingPx];
          const v = twice - luma[i - down] - luma[i + down];
          const d = twice - luma[i - downRight] - luma[i + downRight];
          const a = twice - luma[i - downLeft] - luma[i + downLeft];
          horizontal += h * h;
          vertical += v * v;
          diagonal += d * d;
          antiDiagonal += a * a;
          twiceSum += twice;
        }
        count += right - left;
      }
      const at = (row * columns + column) * directionCount;
      const share = count > 0 ? 1 / count : 0;
      energy[at] = horizontal * share;
      energy[at + 1] = vertical * share;
      energy[at + 2] = diagonal * share;
      energy[at + 3] = antiDiagonal * share;
      light[row * columns + column] = (twiceSum / 2) * share;
    }
  }
  return { columns, rows, cellPx, energy, light };
}
