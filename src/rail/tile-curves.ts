import type { Size } from '../image/image.js';
import { applyMatrix, invertMatrix, type Matrix3 } from '../image/transform.js';
import { type DetailGrid, directionCount } from './detail-grid.js';

/** Fine detail over the frames, in tiles that are fixed to the subject. */
export interface TileCurves {
  /** Tiles across and down in the anchor's framing. */
  columns: number;
  rows: number;
  /** Side of a tile, full-size pixels. */
  tilePx: number;
  frames: number;
  /** (rows * columns, frames, 4): energy by direction as in `DetailGrid`; NaN outside the frame's bounds. */
  energy: Float32Array;
  /**
   * (rows * columns): mean brightness over the frames whose bounds contain the tile, 8-bit levels; NaN where none do.
   */
  light: Float32Array;
}

/** A frame's detail and its transform. */
export interface AlignedGrid {
  grid: DetailGrid;
  /** Frame to anchor, full-size pixels; undefined for a frame that cannot be aligned. */
  matrix: Matrix3 | undefined;
}

/**
 * Follows the tiles of the anchor through all frames.
 *
 * @param shrink Full-size pixels per pixel of the pictures that the grids were measured on.
 */
export function followTiles(alignedGrids: readonly AlignedGrid[], size: Size, shrink: number): TileCurves {
  const tilePx = alignedGrids[0].grid.cellPx * shrink;
  const columns = Math.max(1, Math.floor(size.width / tilePx));
  const rows = Math.max(1, Math.floor(size.height / tilePx));
  const frames = alignedGrids.length;
  const energy = new Float32Array(rows * columns * frames * directionCount).fill(Number.NaN);
  const sample = new Float64Array(directionCount);
  const lightSum = new Float64Array(rows * columns);
  const frameCount = new Uint32Array(rows * columns);
  alignedGrids.forEach(({ grid, matrix }, k) => {
    if (!matrix) return;
    const toFrame = invertMatrix(matrix);
    for (let tile = 0; tile < rows * columns; tile++) {
      const column = tile % columns;
      const row = (tile - column) / columns;
      const [x, y] = applyMatrix(toFrame, (column + 0.5) * tilePx - 0.5, (row + 0.5) * tilePx - 0.5);
      const [u, v] = [(x + 0.5) / tilePx, (y + 0.5) / tilePx];
      sample.fill(0);
      if (!addSample(grid, u - 0.5, v - 0.5, sample)) continue;
      lightSum[tile] += nearestLight(grid, u, v);
      frameCount[tile]++;
      const at = (tile * frames + k) * directionCount;
      for (let d = 0; d < directionCount; d++) energy[at + d] = sample[d];
    }
  });
  const light = Float32Array.from(lightSum, (sum, tile) => sum / frameCount[tile]);
  return { columns, rows, tilePx, frames, energy, light };
}

/** Brightness of the cell that contains a point, in cells; of the nearest cell for a point outside. */
function nearestLight({ columns, rows, light }: DetailGrid, x: number, y: number): number {
  const column = Math.max(0, Math.min(columns - 1, Math.floor(x)));
  const row = Math.max(0, Math.min(rows - 1, Math.floor(y)));
  return light[row * columns + column];
}

/**
 * Adds the sample at a point, in cells, by the quadratic B-spline of the cells; false where it lies more than half a cell
 * outside. The spread of its weights, a quarter of a square cell, is the same wherever the point lies (Unser, "Splines: a
 * perfect fit for signal and image processing", IEEE Signal Processing Magazine 16(6), 1999). A bilinear sample is sharp on a
 * cell and soft between cells, and tiles would look sharper in the frame whose cells they are than in the next.
 */
function addSample({ columns, rows, energy }: DetailGrid, x: number, y: number, out: Float64Array): boolean {
  if (!(x > -0.5 && y > -0.5 && x < columns - 0.5 && y < rows - 0.5)) return false;
  const column = Math.round(x);
  const row = Math.round(y);
  fillSplineWeights(x - column, across);
  fillSplineWeights(y - row, down);
  for (let j = -1; j <= 1; j++) {
    const from = Math.max(0, Math.min(rows - 1, row + j)) * columns;
    for (let i = -1; i <= 1; i++) {
      const at = (from + Math.max(0, Math.min(columns - 1, column + i))) * directionCount;
      const weight = across[i + 1] * down[j + 1];
      for (let d = 0; d < directionCount; d++) out[d] += weight * energy[at + d];
    }
  }
  return true;
}

/** Weights of a sample along either axis: filled anew for each. */
const across = new Float64Array(3);
const down = new Float64Array(3);

/** Weights of the quadratic B-spline for the cells before, at and after a point `offset` (-0.5 to 0.5) from a cell. */
function fillSplineWeights(offset: number, weights: Float64Array): void {
  weights[0] = 0.5 * (0.5 - offset) ** 2;
  weights[1] = 0.75 - offset ** 2;
  weights[2] = 0.5 * (0.5 + offset) ** 2;
}
