import { type DepthOrder, type Elements, type Grid, sortByDepth } from './elements.js';
import { createStencilTable, type Stencil, type StencilTable } from './stencil.js';

/** Thickness of a slab of depth, in steps: within it all light simply adds up, between slabs nearer hides farther. */
const slabSteps = 1;
/**
 * Slabs from the last light of a surface to the next light behind it up to which they are one surface, and from which
 * on they are separate things; in between partly. What lies between must change evenly, or hard lines would show.
 */
const joinedSlabs = 2;
const separateSlabs = 5;
/** Coverage that moves the place of the last light all the way; less moves it in proportion. */
const anchoringCover = 0.05;

/** Coverage from which on nothing is seen behind, and from which on less than the rest is. */
const fullFrom = 0.978;
const denseFrom = 0.92;

/**
 * Part of the lens that a surface leaves to what is behind it, by the coverage that its discs add up to. Discs on a
 * grid of pixels add up to 1 within 2 % although nothing is uncovered, and the ground would glimmer through; what is
 * missing is made up by weighting all with the sum.
 */
export function leftOpen(covered: number): number {
  if (covered >= fullFrom) return 0;
  if (covered <= denseFrom) return 1 - covered;
  return ((1 - denseFrom) * (fullFrom - covered)) / (fullFrom - denseFrom);
}

/** Buffers of a renderer of one frame size, used again for every frame. */
export interface DefocusBuffers {
  grid: Grid;
  stencils: StencilTable;
  /** Row-wise differences of light and coverage, (rows, stride, 4); all zero between passes. */
  light: Float32Array;
  /** The same as differences of differences: what slopes along x add. */
  bend: Float32Array;
  /** Colour so far and its weight, (height, width, 4). */
  picture: Float32Array;
  /** Part of the lens that separate nearer things leave open, (height, width). */
  open: Float32Array;
  /** Part of it that the present surface covers. */
  covered: Float32Array;
  /** Slab of the surface's last light. */
  lastSlab: Float32Array;
  blocks: Blocks;
}

/** Numbers kept of a block: sums of colour, coverage, radius and slope along x and y, and the count of points. */
const blockFields = 8;
const countField = 7;

/** Sums over blocks of 3 x 3, 5 x 5 or 9 x 9 cells. */
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
    bend: new Float32Array(grid.stride * grid.rows * 4),
    picture: new Float32Array(pixels * 4),
    open: new Float32Array(pixels),
    covered: new Float32Array(pixels),
    lastSlab: new Float32Array(pixels),
    blocks: { sums: new Float32Array(blocks * blockFields), touched: new Int32Array(blocks) },
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
 * The ground's weight is `groundWeight`; both together may fall short of 1.
 *
 * From near to far, slab by slab: each element spreads over its disc. Along an unbroken surface the discs of all slabs
 * share the lens without overlap, so their coverage adds up to at most 1; a surface behind a gap in depth is seen
 * through what the nearer one leaves open, by the product of the two.
 *
 * A point a of the lens, |a| <= 1, draws an element with blur radius w at x + a w. The picture that it sees is the
 * sharp one stretched there by the determinant of 1 + a (grad w)', which is 1 + a . grad w, and keeps its radiance:
 * the element lays that weight at a of its disc. Evenly spread discs would move a slanted surface twice as far.
 */
export function drawDefocused(elements: Elements, ranks: number, buffers: DefocusBuffers): void {
  buffers.picture.fill(0);
  buffers.open.fill(1);
  buffers.covered.fill(0);
  const depthOrder = sortByDepth(elements, ranks, slabSteps);
  for (let group = 0; group < depthOrder.slabs.length; group++) {
    if (depthOrder.starts[group + 1] === depthOrder.starts[group]) continue;
    const extent = scatterGroup(elements, depthOrder, group, buffers);
    layGroup(extent, depthOrder.slabs[group], buffers);
  }
}

/** Part of the lens at a pixel through which the ground is seen. */
export function groundWeight(buffers: DefocusBuffers, pixel: number): number {
  return buffers.open[pixel] * leftOpen(buffers.covered[pixel]);
}

function scatterGroup(
  elements: Elements,
  { order, starts }: DepthOrder,
  group: number,
  buffers: DefocusBuffers,
): Extent {
  const { cell, rgba, radius, slope } = elements;
  const { stencils } = buffers;
  const { stride } = buffers.grid;
  const extent: Extent = { left: Infinity, right: -1, top: Infinity, bottom: -1 };
  let meanRadius = 0;
  for (let i = starts[group]; i < starts[group + 1]; i++) meanRadius += radius[order[i]];
  meanRadius /= starts[group + 1] - starts[group];
  const side = blockSide(meanRadius);
  const scatterOne = (n: number): void => {
    const at = 4 * n;
    scatterDisc(
      cell[n],
      stencils.get(radius[n], 1),
      slope[2 * n],
      slope[2 * n + 1],
      rgba[at],
      rgba[at + 1],
      rgba[at + 2],
      rgba[at + 3],
      buffers,
      extent,
    );
  };
  if (side === 1) {
    for (let i = starts[group]; i < starts[group + 1]; i++) scatterOne(order[i]);
    return extent;
  }
  const columns = Math.ceil(stride / side);
  const { sums, touched } = buffers.blocks;
  const blockOf = (n: number): number => {
    const row = Math.floor(cell[n] / stride);
    return Math.floor(row / side) * columns + Math.floor((cell[n] - row * stride) / side);
  };
  let count = 0;
  for (let i = starts[group]; i < starts[group + 1]; i++) {
    const n = order[i];
    const block = blockOf(n);
    const at = block * blockFields;
    if (sums[at + countField] === 0) touched[count++] = block;
    for (let channel = 0; channel < 4; channel++) sums[at + channel] += rgba[4 * n + channel];
    sums[at + 4] += radius[n];
    sums[at + 5] += slope[2 * n];
    sums[at + 6] += slope[2 * n + 1];
    sums[at + countField] += 1;
  }
  // A block with holes keeps its points apart: moved to a common place they would leave a dark or a bright line.
  for (let i = starts[group]; i < starts[group + 1]; i++) {
    if (sums[blockOf(order[i]) * blockFields + countField] < side * side) scatterOne(order[i]);
  }
  for (let i = 0; i < count; i++) {
    const at = touched[i] * blockFields;
    const points = sums[at + countField];
    if (points >= side * side) {
      const row = Math.floor(touched[i] / columns) * side + (side - 1) / 2;
      const column = (touched[i] % columns) * side + (side - 1) / 2;
      const stencil = stencils.get(sums[at + 4] / points, side);
      scatterDisc(
        row * stride + column,
        stencil,
        sums[at + 5] / points,
        sums[at + 6] / points,
        sums[at],
        sums[at + 1],
        sums[at + 2],
        sums[at + 3],
        buffers,
        extent,
      );
    }
    sums.fill(0, at, at + blockFields);
  }
  return extent;
}

/**
 * Odd sides keep the centre of a block on a cell. A block's own blur, see the stencils, makes a disc at most 2.6 %
 * wider than it should be.
 */
function blockSide(radiusPx: number): number {
  if (radiusPx < 10) return 1;
  if (radiusPx < 24) return 3;
  return radiusPx < 48 ? 5 : 9;
}

function scatterDisc(
  cell: number,
  { offsets, steps, tiltY, offsetsX, tiltX, reach }: Stencil,
  slopeX: number,
  slopeY: number,
  red: number,
  green: number,
  blue: number,
  cover: number,
  buffers: DefocusBuffers,
  extent: Extent,
): void {
  const { light, bend, grid } = buffers;
  for (let i = 0; i < offsets.length; i++) {
    const at = 4 * (cell + offsets[i]);
    const step = steps[i] + slopeY * tiltY[i];
    light[at] += step * red;
    light[at + 1] += step * green;
    light[at + 2] += step * blue;
    light[at + 3] += step * cover;
  }
  if (slopeX !== 0) {
    for (let i = 0; i < offsetsX.length; i++) {
      const at = 4 * (cell + offsetsX[i]);
      const step = slopeX * tiltX[i];
      bend[at] += step * red;
      bend[at + 1] += step * green;
      bend[at + 2] += step * blue;
      bend[at + 3] += step * cover;
    }
  }
  const row = Math.floor(cell / grid.stride);
  const column = cell - row * grid.stride;
  if (row - reach < extent.top) extent.top = row - reach;
  if (row + reach > extent.bottom) extent.bottom = row + reach;
  if (column - reach < extent.left) extent.left = column - reach;
  if (column + reach + 2 > extent.right) extent.right = column + reach + 2;
}

/** Sums the differences along the rows, lays the light under what is nearer, and clears the cells. */
function layGroup(extent: Extent, slab: number, buffers: DefocusBuffers): void {
  const { grid, light, bend, picture, open, covered, lastSlab } = buffers;
  for (let row = extent.top; row <= extent.bottom; row++) {
    const y = row - grid.border;
    const start = row * grid.stride + extent.left;
    if (y < 0 || y >= grid.height) {
      light.fill(0, 4 * start, 4 * (start + extent.right - extent.left + 1));
      bend.fill(0, 4 * start, 4 * (start + extent.right - extent.left + 1));
      continue;
    }
    let red = 0;
    let green = 0;
    let blue = 0;
    let cover = 0;
    let redBend = 0;
    let greenBend = 0;
    let blueBend = 0;
    let coverBend = 0;
    for (let column = extent.left; column <= extent.right; column++) {
      const at = 4 * (row * grid.stride + column);
      redBend += bend[at];
      greenBend += bend[at + 1];
      blueBend += bend[at + 2];
      coverBend += bend[at + 3];
      red += light[at] + redBend;
      green += light[at + 1] + greenBend;
      blue += light[at + 2] + blueBend;
      cover += light[at + 3] + coverBend;
      light[at] = light[at + 1] = light[at + 2] = light[at + 3] = 0;
      bend[at] = bend[at + 1] = bend[at + 2] = bend[at + 3] = 0;
      const x = column - grid.border;
      if (cover < 1e-4 || x < 0 || x >= grid.width) continue;
      const pixel = y * grid.width + x;
      if (covered[pixel] === 0) lastSlab[pixel] = slab;
      const gap = slab - lastSlab[pixel];
      if (gap > joinedSlabs) {
        // The part that counts as separate goes over to what is open; what both leave free stays the same.
        const left = leftOpen(covered[pixel]);
        const apart = Math.min(1, (gap - joinedSlabs) / (separateSlabs - joinedSlabs));
        const openBehind = 1 - apart * (1 - left);
        open[pixel] *= openBehind;
        covered[pixel] = openBehind > 0 ? 1 - left / openBehind : 0;
      }
      const used = Math.min(cover, leftOpen(covered[pixel]));
      if (used <= 0) continue;
      lastSlab[pixel] += (slab - lastSlab[pixel]) * Math.min(1, used / anchoringCover);
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
