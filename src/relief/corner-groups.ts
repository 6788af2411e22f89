import { linkDown, linkRight, type SurfaceRaster } from './surface-raster.js';

/** Cells around a corner, clockwise from the upper left; as bits of a group: 1 << quadrant. */
export type Quadrant = 0 | 1 | 2 | 3;

/**
 * The cells around a corner that belong to one surface with the cell in `quadrant`: bits of quadrants; 0 when that cell
 * is nothing. Corner (x, y) is the upper left one of cell (x, y).
 */
export function cornerGroup(raster: SurfaceRaster, x: number, y: number, quadrant: Quadrant): number {
  const { width, height, depth, links } = raster;
  const right = x < width;
  const left = x > 0;
  const below = y < height;
  const above = y > 0;
  const at = y * width + x;
  const upperLeft = left && above ? at - width - 1 : -1;
  const lowerLeft = left && below ? at - 1 : -1;
  const upperRight = right && above ? at - width : -1;
  const lowerRight = right && below ? at : -1;
  const own =
    quadrant === 0 ? upperLeft : quadrant === 1 ? upperRight : quadrant === 2 ? lowerRight : lowerLeft;
  if (own < 0 || Number.isNaN(depth[own])) return 0;
  // Links around the corner: bit k joins quadrant k and the next one clockwise.
  let ring = 0;
  if (upperLeft >= 0 && upperRight >= 0 && links[upperLeft] & linkRight) ring |= 1;
  if (upperRight >= 0 && lowerRight >= 0 && links[upperRight] & linkDown) ring |= 2;
  if (lowerRight >= 0 && lowerLeft >= 0 && links[lowerLeft] & linkRight) ring |= 4;
  if (lowerLeft >= 0 && upperLeft >= 0 && links[upperLeft] & linkDown) ring |= 8;
  let group = 1 << quadrant;
  for (let k = quadrant, n = 0; n < 3 && ring & (1 << k); n++) {
    k = ((k + 1) & 3) as Quadrant;
    group |= 1 << k;
  }
  for (let k = (quadrant + 3) & 3, n = 0; n < 3 && ring & (1 << k); n++) {
    group |= 1 << k;
    k = (k + 3) & 3;
  }
  return group;
}

/** Cell of a quadrant around a corner. */
export function quadrantCell({ width }: SurfaceRaster, x: number, y: number, quadrant: number): number {
  const column = quadrant === 0 || quadrant === 3 ? x - 1 : x;
  const row = quadrant < 2 ? y - 1 : y;
  return row * width + column;
}

/** Mean over the cells of a group of what `values` holds at them, of several channels one. */
export function groupMean(
  raster: SurfaceRaster,
  values: Float32Array | Uint8Array,
  x: number,
  y: number,
  group: number,
  channels = 1,
  channel = 0,
): number {
  let sum = 0;
  let count = 0;
  for (let quadrant = 0; quadrant < 4; quadrant++) {
    if (!(group & (1 << quadrant))) continue;
    sum += values[quadrantCell(raster, x, y, quadrant) * channels + channel];
    count++;
  }
  return sum / count;
}

/**
 * Height of a group's surface at its corner: the mean of the cells that meet there. Where the surface ends or is cut, so
 * that fewer than four do, each is carried on by its slope, or rims of what is steep would lie half a cell too deep or
 * too high.
 */
export function cornerHeight(raster: SurfaceRaster, x: number, y: number, group: number): number {
  const { depth } = raster;
  if (group === allQuadrants) return groupMean(raster, depth, x, y, group);
  let sum = 0;
  let count = 0;
  for (let quadrant = 0; quadrant < 4; quadrant++) {
    if (!(group & (1 << quadrant))) continue;
    const cell = quadrantCell(raster, x, y, quadrant);
    const isLeft = quadrant === 0 || quadrant === 3;
    const isAbove = quadrant < 2;
    sum +=
      depth[cell] +
      slopeFrom(raster, cell, isLeft ? -1 : 1, 0) +
      slopeFrom(raster, cell, 0, isAbove ? -1 : 1);
    count++;
  }
  return sum / count;
}

const allQuadrants = 15;

/**
 * Half of the change of depth from the next cell in a direction to this one: the lesser of the two last changes, and none
 * where they differ in sign, so that noise is not carried on (minmod limiter; P. L. Roe 1986).
 */
function slopeFrom(raster: SurfaceRaster, cell: number, dx: number, dy: number): number {
  const { width, depth } = raster;
  const step = dy * width + dx;
  if (!isLinked(raster, cell, dx, dy) || !isLinked(raster, cell + step, dx, dy)) return 0;
  const near = depth[cell] - depth[cell + step];
  const far = depth[cell + step] - depth[cell + 2 * step];
  if (near * far <= 0) return 0;
  return (Math.abs(near) < Math.abs(far) ? near : far) / 2;
}

function isLinked({ width, height, links }: SurfaceRaster, cell: number, dx: number, dy: number): boolean {
  const column = (cell % width) + dx;
  const row = Math.floor(cell / width) + dy;
  if (column < 0 || column >= width || row < 0 || row >= height) return false;
  const first = dx + dy < 0 ? cell + dy * width + dx : cell;
  return (links[first] & (dx !== 0 ? linkRight : linkDown)) !== 0;
}
