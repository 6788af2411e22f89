import type { DecodedFrame } from '../stack/decode.js';

/** Directions in which fine detail is measured. */
export const directionCount = 4;

/** Fine detail of one frame by square cells: what focus, shake and steps are judged by. */
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

/** Cells of a frame, about: enough to tell where it is sharp, few enough to keep for every frame. */
const cellsWanted = 9000;
const leastCellPx = 8;
/** From this many pixels on every second row is enough. */
export const manyPixels = 600_000;
/** Distance of the second difference, pixels: it answers most to periods of four pixels. */
const reach = 2;

/** Side of the cells for pictures of this many pixels. */
export function cellSide(pixels: number): number {
  return Math.max(leastCellPx, Math.round(Math.sqrt(pixels / cellsWanted)));
}

/**
 * Brightness (rows, cols) as the file encodes it, 0 to 255: (R + 2 G + B) / 4, near enough to luma.
 *
 * @param luma Where to put it, of `width * height` samples: fresh memory for every frame costs more than the sums.
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
 */
export function measureDetail(
  luma: Float32Array,
  width: number,
  height: number,
  cellPx = cellSide(width * height),
): DetailGrid {
  const columns = Math.max(1, Math.floor(width / cellPx));
  const rows = Math.max(1, Math.floor(height / cellPx));
  const energy = new Float32Array(rows * columns * directionCount);
  const light = new Float32Array(rows * columns);
  const rowStep = width * height >= manyPixels ? 2 : 1;
  const down = reach * width;
  const falling = down + reach;
  const rising = down - reach;
  for (let row = 0; row < rows; row++) {
    const top = Math.max(reach, row * cellPx);
    const bottom = Math.min(height - reach, (row + 1) * cellPx);
    for (let column = 0; column < columns; column++) {
      const left = Math.max(reach, column * cellPx);
      const right = Math.min(width - reach, (column + 1) * cellPx);
      let across = 0;
      let upright = 0;
      let diagonal = 0;
      let counter = 0;
      let twiceSum = 0;
      let count = 0;
      for (let y = top; y < bottom; y += rowStep) {
        const start = y * width;
        for (let i = start + left; i < start + right; i++) {
          const twice = 2 * luma[i];
          const h = twice - luma[i - reach] - luma[i + reach];
          const v = twice - luma[i - down] - luma[i + down];
          const d = twice - luma[i - falling] - luma[i + falling];
          const a = twice - luma[i - rising] - luma[i + rising];
          across += h * h;
          upright += v * v;
          diagonal += d * d;
          counter += a * a;
          twiceSum += twice;
        }
        count += right - left;
      }
      const at = (row * columns + column) * directionCount;
      const share = count > 0 ? 1 / count : 0;
      energy[at] = across * share;
      energy[at + 1] = upright * share;
      energy[at + 2] = diagonal * share;
      energy[at + 3] = counter * share;
      light[row * columns + column] = (twiceSum / 2) * share;
    }
  }
  return { columns, rows, cellPx, energy, light };
}
