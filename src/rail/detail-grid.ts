import type { Size } from '../image/image.js';
import { pieceKernels } from '../kernels/piece-kernels.js';
import { differencePx, minCellPx, rowSkipMinPixels, targetCells } from '../model/constants/rail.js';

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

/** Bytes that `detailAt` makes a grid in. */
export function gridBytes(size: Size, cellPx: number): number {
  const { columns, rows } = gridSize(size, cellPx);
  return 4 * columns * rows * (directionCount + 1);
}

function gridSize({ width, height }: Size, cellPx: number): { columns: number; rows: number } {
  return {
    columns: Math.max(1, Math.floor(width / cellPx)),
    rows: Math.max(1, Math.floor(height / cellPx)),
  };
}

/**
 * Measures the detail of a picture.
 *
 * The measure is the modified Laplacian of Nayar & Nakagawa, IEEE PAMI 16(8), 1994, squared and kept apart by
 * direction, with the second difference taken over two pixels, where noise weighs less.
 *
 * @param luma Address of its luma, (height, width) in 8-bit levels, in the memory of `pieceKernels`.
 * @param room For `gridBytes`, there too.
 * @param spacingPx Spacing of the second difference: more for broader detail.
 */
export function detailAt(
  luma: number,
  size: Size,
  room: Uint8Array,
  cellPx: number,
  spacingPx = differencePx,
): DetailGrid {
  const { width, height } = size;
  const { columns, rows } = gridSize(size, cellPx);
  const cells = columns * rows;
  const rowStep = width * height >= rowSkipMinPixels ? 2 : 1;
  const energy = room.byteOffset;
  const light = energy + 4 * cells * directionCount;
  const kernels = pieceKernels();
  const grid = { luma, width, height, cell: cellPx, columns, spacing: spacingPx, rowStep, energy, light };
  for (let row = 0; row < rows; row++) kernels.detailCells({ ...grid, row });
  return {
    columns,
    rows,
    cellPx,
    energy: new Float32Array(room.buffer, energy, cells * directionCount).slice(),
    light: new Float32Array(room.buffer, light, cells).slice(),
  };
}
