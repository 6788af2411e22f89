import { cornerGroup, cornerHeight, type Quadrant } from './corner-groups.js';
import type { CellField } from './refinement.js';
import { linkDown, linkRight, type SurfaceRaster } from './surface-raster.js';

/** A corner of a surface: where it lies, and the cells around it that share it. */
export interface SurfaceCorner {
  x: number;
  y: number;
  /** Bits of quadrants; see `cornerGroup`. */
  group: number;
}

/** The corner of a cell, for column and row inside of the grid and beyond it; see `CellField`. */
export function surfaceCorner(
  raster: SurfaceRaster,
  cornerX: number,
  cornerY: number,
  column: number,
  row: number,
): SurfaceCorner {
  const { width, height } = raster;
  const x = Math.min(cornerX, width);
  const y = Math.min(cornerY, height);
  const isRight = Math.min(column, width - 1) === x;
  const isBelow = Math.min(row, height - 1) === y;
  const quadrant: Quadrant = isBelow ? (isRight ? 2 : 3) : isRight ? 1 : 0;
  return { x, y, group: cornerGroup(raster, x, y, quadrant) };
}

/** A surface that is cut at its depth edges: a corner there has a height for each of the surfaces that meet. */
export function cutField(raster: SurfaceRaster): CellField {
  const { width, height, depth, links } = raster;
  const cell = (column: number, row: number) =>
    Math.min(row, height - 1) * width + Math.min(column, width - 1);
  return {
    width,
    height,
    isCell: (column, row) => !Number.isNaN(depth[cell(column, row)]),
    isLinkedRight: (column, row) => column >= width - 1 || (links[cell(column, row)] & linkRight) !== 0,
    isLinkedDown: (column, row) => row >= height - 1 || (links[cell(column, row)] & linkDown) !== 0,
    heightAt(cornerX, cornerY, column, row) {
      const { x, y, group } = surfaceCorner(raster, cornerX, cornerY, column, row);
      return cornerHeight(raster, x, y, group);
    },
  };
}

/**
 * A surface without gaps, as the top of a solid: one height for each corner, of the nearest of the cells around it, so
 * that thin things keep their width.
 *
 * @param floor Depth where the surface has nothing.
 */
export function closedField({ width, height, depth }: SurfaceRaster, floor: number): CellField {
  const cellDepth = (column: number, row: number) => {
    const value = depth[row * width + column];
    return Number.isNaN(value) ? floor : value;
  };
  return {
    width,
    height,
    isCell: () => true,
    isLinkedRight: () => true,
    isLinkedDown: () => true,
    heightAt(cornerX, cornerY) {
      const [right, below] = [Math.min(cornerX, width - 1), Math.min(cornerY, height - 1)];
      const [left, above] = [
        Math.max(0, Math.min(cornerX, width) - 1),
        Math.max(0, Math.min(cornerY, height) - 1),
      ];
      return Math.min(
        cellDepth(left, above),
        cellDepth(right, above),
        cellDepth(left, below),
        cellDepth(right, below),
      );
    },
  };
}
