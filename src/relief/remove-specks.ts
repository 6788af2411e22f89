import type { Size } from '../image/image.js';
import { findPieces, linkCells, type SurfaceRaster } from './surface-raster.js';

/** Pieces below this many cells are specks. A hair one cell wide and this long stays. */
const minPieceCells = 24;
/** Specks inside specks are reached in a second pass, and few in a third. */
const passes = 3;

/**
 * Gives specks of a surface, pieces of a few cells at a depth of their own as wrong peaks make them, the depth of
 * the piece that surrounds most of them; those that stand alone go. Holes as small are closed.
 *
 * @param known Depth where a hole may be closed; NaN: nowhere.
 * @returns The cells that were changed.
 */
export function removeSpecks(raster: SurfaceRaster, known: Float32Array, maxJump: number): number {
  const before = raster.depth.slice();
  closeHoles(raster, known);
  absorbPieces(raster, minPieceCells, maxJump);
  return raster.depth.reduce((sum, depth, i) => sum + (Object.is(depth, before[i]) ? 0 : 1), 0);
}

/**
 * Gives pieces below so many cells the depth of the piece that surrounds most of them; those that stand alone go.
 *
 * @param raster Its links are made anew.
 */
export function absorbPieces(raster: SurfaceRaster, minCells: number, maxJump: number): void {
  raster.links = linkCells(raster.depth, raster, maxJump);
  for (let pass = 0; pass < passes; pass++) {
    if (absorbSpecks(raster, minCells) === 0) break;
    raster.links = linkCells(raster.depth, raster, maxJump);
  }
}

/** Cells beside a cell, inside of the grid. */
function neighboursOf(i: number, { width, height }: Size): number[] {
  const found: number[] = [];
  const x = i % width;
  if (x > 0) found.push(i - 1);
  if (x + 1 < width) found.push(i + 1);
  if (i >= width) found.push(i - width);
  if (i + width < width * height) found.push(i + width);
  return found;
}

function closeHoles(raster: SurfaceRaster, known: Float32Array): void {
  const { depth, width, height } = raster;
  // Holes are the pieces of the negative: linked wherever both have nothing.
  const nothing = Float32Array.from(depth, (value) => (Number.isNaN(value) ? 0 : Number.NaN));
  const links = linkCells(nothing, raster, 0);
  const { labels, areas } = findPieces({ ...raster, depth: nothing, links });
  const touchesRim = new Uint8Array(areas.length);
  for (let i = 0; i < labels.length; i++) {
    const x = i % width;
    const isRim = x === 0 || x === width - 1 || i < width || i >= width * (height - 1);
    if (isRim && labels[i] >= 0) touchesRim[labels[i]] = 1;
  }
  for (let i = 0; i < labels.length; i++) {
    const label = labels[i];
    if (label >= 0 && areas[label] < minPieceCells && !touchesRim[label]) depth[i] = known[i];
  }
}

function absorbSpecks(raster: SurfaceRaster, minCells: number): number {
  const { depth } = raster;
  const { labels, areas } = findPieces(raster);
  const cells = new Map<number, number[]>();
  for (let i = 0; i < labels.length; i++) {
    const label = labels[i];
    if (label < 0 || areas[label] >= minCells) continue;
    const own = cells.get(label);
    if (own) own.push(i);
    else cells.set(label, [i]);
  }
  let absorbed = 0;
  for (const own of cells.values()) {
    const host = hostOf(own, labels, areas, raster, minCells);
    absorbed++;
    if (host === undefined) {
      for (const i of own) depth[i] = Number.NaN;
      continue;
    }
    // From the rim inward: each cell takes the depth of a neighbour that has the host's.
    for (let left = own; left.length > 0; ) {
      const done: number[] = [];
      const next = left.filter((i) => {
        const from = neighboursOf(i, raster).find((j) => labels[j] === host);
        if (from === undefined) return true;
        depth[i] = depth[from];
        done.push(i);
        return false;
      });
      for (const i of done) labels[i] = host;
      if (done.length === 0) break;
      left = next;
    }
  }
  return absorbed;
}

/** The piece beside most cells of a speck, of those that are no specks; undefined for one that stands alone. */
function hostOf(
  own: readonly number[],
  labels: Int32Array,
  areas: readonly number[],
  size: Size,
  minCells: number,
): number | undefined {
  const contacts = new Map<number, number>();
  for (const i of own) {
    for (const j of neighboursOf(i, size)) {
      const label = labels[j];
      if (label < 0 || label === labels[i] || areas[label] < minCells) continue;
      contacts.set(label, (contacts.get(label) ?? 0) + 1);
    }
  }
  let best: number | undefined;
  for (const [label, count] of contacts) {
    if (best === undefined || count > contacts.get(best)!) best = label;
  }
  return best;
}
