import { type DepthOrder, type Elements, type Grid, sortByDepth } from './elements.js';
import { createStencilTable, type Stencil, type StencilTable } from './stencil.js';

/** Thickness of a slab of depth, in steps: within it all light simply adds up, between slabs nearer hides farther. */
const slabSteps = 1;
/** Slabs without light between two surfaces from which on they count as separate things. */
const separateSlabs = 3;
/**
 * Coverage above 1 / `overfill` counts as full. Discs of differing radius add up to a hair more or less than 1 on an
 * unbroken surface; without this the ground would glimmer through.
 */
const overfill = 1.01;

/** Buffers of a renderer of one frame size, used again for every frame. */
export interface DefocusBuffers {
  grid: Grid;
  stencils: StencilTable;
  /** Row-wise differences of light and coverage, (rows, stride, 4); all zero between passes. */
  light: Float32Array;
  /** Colour so far and its weight, (height, width, 4). */
  picture: Float32Array;
  /** Part of the lens that separate nearer things leave open, (height, width). */
  open: Float32Array;
  /** Part of it that the present surface covers. */
  covered: Float32Array;
  /** Last slab that gave light. */
  lastSlab: Int16Array;
  blocks: Blocks;
}

/** Sums over blocks of 3 x 3, 5 x 5 or 9 x 9 cells: colour, coverage, and coverage times column, row and radius. */
interface Blocks {
  sums: Float32Array;
  touched: Int32Array;
}

export function createDefocusBuffers(grid: Grid): DefocusBuffers {
  const pixels = grid.width * grid.height;
  const blocks = Math.ceil(grid.stride / 3) * Math.ceil(grid.rows / 3);
  return {
    grid,
    stencils: createStencilTable(grid.stride),
    light: new Float32Array(grid.stride * grid.rows * 4),
    picture: new Float32Array(pixels * 4),
    open: new Float32Array(pixels),
    covered: new Float32Array(pixels),
    lastSlab: new Int16Array(pixels),
    blocks: { sums: new Float32Array(blocks * 7), touched: new Int32Array(blocks) },
  };
}

/** Cells touched by a pass, grid coordinates, ends included. */
interface Extent {
  left: number;
  right: number;
  top: number;
  bottom: number;
}

/**
 * Draws the elements with their blur discs into `buffers.picture`: linear colour and its weight, (height, width, 4).
 * What weight is missing to `buffers.open * left over coverage` is the ground's, see `groundWeight`.
 *
 * From near to far, slab by slab: each element spreads evenly over its disc. Along an unbroken surface the discs of
 * all slabs share the lens without overlap, so their coverage adds up to at most 1; a surface behind a gap in depth
 * is seen through what the nearer one leaves open, by the product of the two.
 */
export function drawDefocused(elements: Elements, ranks: number, buffers: DefocusBuffers): void {
  buffers.picture.fill(0);
  buffers.open.fill(1);
  buffers.covered.fill(0);
  buffers.lastSlab.fill(-1);
  const depthOrder = sortByDepth(elements, ranks, slabSteps);
  for (let group = 0; group < depthOrder.slabs.length; group++) {
    if (depthOrder.starts[group + 1] === depthOrder.starts[group]) continue;
    const extent = scatterGroup(elements, depthOrder, group, buffers);
    layGroup(extent, depthOrder.slabs[group], buffers);
  }
}

/** Part of the lens at a pixel through which the ground is seen. */
export function groundWeight(buffers: DefocusBuffers, pixel: number): number {
  return buffers.open[pixel] * Math.max(0, 1 - buffers.covered[pixel] * overfill);
}

function scatterGroup(
  elements: Elements,
  { order, starts }: DepthOrder,
  group: number,
  buffers: DefocusBuffers,
): Extent {
  const { cell, rgba, radius } = elements;
  const { stencils } = buffers;
  const { stride } = buffers.grid;
  const extent: Extent = { left: Infinity, right: -1, top: Infinity, bottom: -1 };
  let meanRadius = 0;
  for (let i = starts[group]; i < starts[group + 1]; i++) meanRadius += radius[order[i]];
  meanRadius /= starts[group + 1] - starts[group];
  const side = blockSide(meanRadius);
  if (side === 1) {
    for (let i = starts[group]; i < starts[group + 1]; i++) {
      const n = order[i];
      const at = 4 * n;
      scatterDisc(
        cell[n],
        stencils.get(radius[n], 1),
        rgba[at],
        rgba[at + 1],
        rgba[at + 2],
        rgba[at + 3],
        buffers,
        extent,
      );
    }
    return extent;
  }
  const columns = Math.ceil(stride / side);
  const { sums, touched } = buffers.blocks;
  let count = 0;
  for (let i = starts[group]; i < starts[group + 1]; i++) {
    const n = order[i];
    const row = Math.floor(cell[n] / stride);
    const column = cell[n] - row * stride;
    const block = Math.floor(row / side) * columns + Math.floor(column / side);
    const at = block * 7;
    const cover = rgba[4 * n + 3];
    if (sums[at + 3] === 0) touched[count++] = block;
    sums[at] += rgba[4 * n];
    sums[at + 1] += rgba[4 * n + 1];
    sums[at + 2] += rgba[4 * n + 2];
    sums[at + 3] += cover;
    sums[at + 4] += cover * column;
    sums[at + 5] += cover * row;
    sums[at + 6] += cover * radius[n];
  }
  for (let i = 0; i < count; i++) {
    const at = touched[i] * 7;
    const cover = sums[at + 3];
    const centre = Math.round(sums[at + 5] / cover) * stride + Math.round(sums[at + 4] / cover);
    const disc = stencils.get(sums[at + 6] / cover, side);
    scatterDisc(centre, disc, sums[at], sums[at + 1], sums[at + 2], cover, buffers, extent);
    sums.fill(0, at, at + 7);
  }
  return extent;
}

/** Odd sides keep the centre of a full block on a cell. A block is small beside its disc: at most 3/7 of the radius. */
function blockSide(radiusPx: number): number {
  if (radiusPx < 7) return 1;
  if (radiusPx < 16) return 3;
  return radiusPx < 36 ? 5 : 9;
}

function scatterDisc(
  cell: number,
  { offsets, steps, reach }: Stencil,
  red: number,
  green: number,
  blue: number,
  cover: number,
  buffers: DefocusBuffers,
  extent: Extent,
): void {
  const { light, grid } = buffers;
  for (let i = 0; i < offsets.length; i++) {
    const at = 4 * (cell + offsets[i]);
    const step = steps[i];
    light[at] += step * red;
    light[at + 1] += step * green;
    light[at + 2] += step * blue;
    light[at + 3] += step * cover;
  }
  const row = Math.floor(cell / grid.stride);
  const column = cell - row * grid.stride;
  if (row - reach < extent.top) extent.top = row - reach;
  if (row + reach > extent.bottom) extent.bottom = row + reach;
  if (column - reach < extent.left) extent.left = column - reach;
  if (column + reach + 1 > extent.right) extent.right = column + reach + 1;
}

/** Sums the differences along the rows, lays the light under what is nearer, and clears the cells. */
function layGroup(extent: Extent, slab: number, buffers: DefocusBuffers): void {
  const { grid, light, picture, open, covered, lastSlab } = buffers;
  for (let row = extent.top; row <= extent.bottom; row++) {
    const y = row - grid.border;
    const start = row * grid.stride + extent.left;
    if (y < 0 || y >= grid.height) {
      light.fill(0, 4 * start, 4 * (start + extent.right - extent.left + 1));
      continue;
    }
    let red = 0;
    let green = 0;
    let blue = 0;
    let cover = 0;
    for (let column = extent.left; column <= extent.right; column++) {
      const at = 4 * (row * grid.stride + column);
      red += light[at];
      green += light[at + 1];
      blue += light[at + 2];
      cover += light[at + 3];
      light[at] = light[at + 1] = light[at + 2] = light[at + 3] = 0;
      const x = column - grid.border;
      if (cover < 1e-4 || x < 0 || x >= grid.width) continue;
      const pixel = y * grid.width + x;
      if (lastSlab[pixel] >= 0 && slab - lastSlab[pixel] >= separateSlabs) {
        open[pixel] *= Math.max(0, 1 - covered[pixel] * overfill);
        covered[pixel] = 0;
      }
      lastSlab[pixel] = slab;
      const room = Math.max(0, 1 - covered[pixel] * overfill);
      const used = Math.min(cover, room);
      if (used === 0) continue;
      const weight = open[pixel] * used;
      const share = weight / cover;
      covered[pixel] += used;
      picture[4 * pixel] += red * share;
      picture[4 * pixel + 1] += green * share;
      picture[4 * pixel + 2] += blue * share;
      picture[4 * pixel + 3] += weight;
    }
  }
}
