import { pieceKernels } from '../../src/kernels/piece-kernels.js';
import { cellSide, type DetailGrid, detailAt, gridBytes } from '../../src/rail/detail-grid.js';

/** Detail of a luma (height, width), 8-bit levels, that does not lie in the memory of `pieceKernels`. */
export function measureDetail(
  luma: Float32Array,
  width: number,
  height: number,
  cellPx = cellSide(width * height),
  spacingPx?: number,
): DetailGrid {
  const size = { width, height };
  const [place, grid] = pieceKernels().take([Float32Array, luma.length], gridBytes(size, cellPx));
  place.set(luma);
  return detailAt(place.byteOffset, size, grid, cellPx, spacingPx);
}
