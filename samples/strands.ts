import { applyMatrix } from '../src/image/transform.js';
import { jitterMatrix, scaleToAnchor } from './camera.js';
import { discReaches, type Elements, reserve } from './elements.js';
import { blurGrowth, blurRadius, storeSlope, type View } from './project.js';
import type { Strand } from './scene.js';

/** Scratch space for drawing strands, one entry a grid cell; made once for all frames. */
export interface StrandScratch {
  /** Number of the last strand that touched the cell. */
  stamp: Int32Array;
  /** Distance to that strand's middle line beyond its half width, px. */
  excess: Float32Array;
  /** Place along the strand, in points. */
  along: Float32Array;
  /** Signed place across, in half widths. */
  across: Float32Array;
  used: number;
}

export function createStrandScratch(cells: number): StrandScratch {
  return {
    stamp: new Int32Array(cells),
    excess: new Float32Array(cells),
    along: new Float32Array(cells),
    across: new Float32Array(cells),
    used: 0,
  };
}

/** One cell of a traced strand. */
export interface StrandCell {
  cover: number;
  /** Steps from the anchor's plane of focus. */
  depth: number;
  /** 0 at the root, 1 at the tip. */
  along: number;
  /** -1 to 1 from side to side. */
  across: number;
  /** Piece of the chain that it belongs to. */
  piece: number;
}

/**
 * Visits every cell of a grid of `stride` columns and `rows` rows that a chain of points covers; x and y of the points
 * are grid places. Coverage falls from 1 to 0 over the pixel at its edge; a strand thinner than a pixel covers only
 * its share.
 */
export function traceStrand(
  points: Float64Array,
  stride: number,
  rows: number,
  scratch: StrandScratch,
  visit: (cell: number, facts: StrandCell) => void,
): void {
  const last = points.length / 4 - 1;
  const stamp = ++scratch.used;
  const touched: number[] = [];
  for (let k = 0; k < last; k++) drawPiece(points, k, stamp, scratch, touched, stride, rows);
  for (const cell of touched) {
    const k = Math.min(last - 1, Math.floor(scratch.along[cell]));
    const part = scratch.along[cell] - k;
    const halfWidth = points[4 * k + 3] * (1 - part) + points[4 * k + 7] * part;
    const cover = Math.min(1, 2 * halfWidth, 0.5 - scratch.excess[cell]);
    if (cover < 0.004) continue;
    const depth = points[4 * k + 2] * (1 - part) + points[4 * k + 6] * part;
    visit(cell, { cover, depth, along: scratch.along[cell] / last, across: scratch.across[cell], piece: k });
  }
}

/**
 * Adds what a frame sees of a strand. Its points are carried to the frame one by one, so nothing is resampled.
 */
export function projectStrand(
  strand: Strand,
  rank: number,
  view: View,
  scratch: StrandScratch,
  elements: Elements,
): void {
  const { optics, stepMm, pose, grid, size } = view;
  const jitter = jitterMatrix(pose, size.width, size.height);
  const centreX = (size.width - 1) / 2;
  const centreY = (size.height - 1) / 2;
  const { points } = strand;
  const seen = new Float64Array(points.length);
  for (let k = 0; k < points.length; k += 4) {
    const scale = 1 / scaleToAnchor(optics, points[k + 2] * stepMm, pose.positionMm);
    const [x, y] = applyMatrix(
      jitter,
      centreX + (points[k] - centreX) * scale,
      centreY + (points[k + 1] - centreY) * scale,
    );
    seen.set([x + grid.border, y + grid.border, points[k + 2], points[k + 3] * scale], k);
  }
  const blur = blurRadius(view);
  const colour = new Float64Array(3);
  traceStrand(seen, grid.stride, grid.rows, scratch, (cell, { cover, depth, along, across, piece }) => {
    const radius = blur(depth);
    if (!discReaches(grid, cell % grid.stride, Math.floor(cell / grid.stride), radius)) return;
    reserve(elements, 1);
    const n = elements.count++;
    strand.colour(along, across, colour);
    for (let channel = 0; channel < 3; channel++) elements.rgba[4 * n + channel] = colour[channel] * cover;
    elements.rgba[4 * n + 3] = cover;
    elements.cell[n] = cell;
    elements.depth[n] = depth;
    elements.radius[n] = radius;
    elements.rank[n] = rank;
    // A strand slants along its middle line alone: steps per px, along x and y.
    const k = 4 * piece;
    const lengthX = seen[k + 4] - seen[k];
    const lengthY = seen[k + 5] - seen[k + 1];
    const rise = (seen[k + 6] - seen[k + 2]) / (lengthX ** 2 + lengthY ** 2 || 1);
    const growth = blurGrowth(blur, depth) * rise;
    storeSlope(elements, n, growth * lengthX, growth * lengthY);
  });
}

/** Notes for every cell near the piece from point k to k + 1 how far off it lies, where no piece before is nearer. */
function drawPiece(
  seen: Float64Array,
  k: number,
  stamp: number,
  scratch: StrandScratch,
  touched: number[],
  stride: number,
  rows: number,
): void {
  const [x0, y0, , half0, x1, y1, , half1] = seen.subarray(4 * k, 4 * k + 8);
  const reach = Math.max(half0, half1) + 1;
  const lengthX = x1 - x0;
  const lengthY = y1 - y0;
  const square = lengthX ** 2 + lengthY ** 2 || 1e-12;
  const left = Math.max(0, Math.ceil(Math.min(x0, x1) - reach));
  const right = Math.min(stride - 1, Math.floor(Math.max(x0, x1) + reach));
  const top = Math.max(0, Math.ceil(Math.min(y0, y1) - reach));
  const bottom = Math.min(rows - 1, Math.floor(Math.max(y0, y1) + reach));
  for (let y = top; y <= bottom; y++) {
    for (let x = left; x <= right; x++) {
      const part = Math.min(1, Math.max(0, ((x - x0) * lengthX + (y - y0) * lengthY) / square));
      const halfWidth = half0 + (half1 - half0) * part;
      const distance = Math.hypot(x - x0 - part * lengthX, y - y0 - part * lengthY);
      const excess = distance - halfWidth;
      if (excess >= 0.5) continue;
      const cell = y * stride + x;
      if (scratch.stamp[cell] !== stamp) touched.push(cell);
      else if (scratch.excess[cell] <= excess) continue;
      const side = lengthX * (y - y0) - lengthY * (x - x0) < 0 ? -1 : 1;
      scratch.stamp[cell] = stamp;
      scratch.excess[cell] = excess;
      scratch.along[cell] = k + part;
      scratch.across[cell] = Math.max(-1, Math.min(1, (side * distance) / Math.max(halfWidth, 1e-6)));
    }
  }
}
