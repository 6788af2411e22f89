import type { Size } from '../image/image.js';

/** Bits of `links`: the surface goes on from a pixel to the one on its right, and to the one below it. */
export const linkRight = 1;
export const linkDown = 2;

/** The surface of a subject over a grid of cells, one a pixel or one a block of pixels. */
export interface SurfaceRaster extends Size {
  /** (rows, cols), units of depth.tif; NaN: nothing here. */
  depth: Float32Array;
  /** (rows, cols), confidence times 255. */
  confidence: Uint8Array;
  /** (rows, cols), bits as above. Neighbours that are not linked are parted by a depth edge, or one of them is nothing. */
  links: Uint8Array;
}

/**
 * Links neighbouring cells of one surface: those whose depths differ by `maxJump` at most.
 *
 * @param maxJump Units of `depth`.
 */
export function linkCells(depth: Float32Array, { width, height }: Size, maxJump: number): Uint8Array {
  const links = new Uint8Array(width * height);
  for (let y = 0, i = 0; y < height; y++) {
    for (let x = 0; x < width; x++, i++) {
      // NaN fails the comparison.
      if (x + 1 < width && Math.abs(depth[i] - depth[i + 1]) <= maxJump) links[i] |= linkRight;
      if (y + 1 < height && Math.abs(depth[i] - depth[i + width]) <= maxJump) links[i] |= linkDown;
    }
  }
  return links;
}

/** Connected pieces of a surface. */
export interface Pieces {
  /** (rows, cols): number of the piece; -1: nothing here. */
  labels: Int32Array;
  /** Cells of each piece. */
  areas: number[];
}

/** The pieces that links hold together. */
export function findPieces({ depth, links, width, height }: SurfaceRaster): Pieces {
  const labels = new Int32Array(width * height).fill(-1);
  const areas: number[] = [];
  const stack: number[] = [];
  for (let start = 0; start < labels.length; start++) {
    if (labels[start] >= 0 || Number.isNaN(depth[start])) continue;
    const label = areas.length;
    let area = 0;
    labels[start] = label;
    stack.push(start);
    for (let i = stack.pop(); i !== undefined; i = stack.pop()) {
      area++;
      const x = i % width;
      const reach = (next: number) => {
        if (labels[next] >= 0) return;
        labels[next] = label;
        stack.push(next);
      };
      if (links[i] & linkRight) reach(i + 1);
      if (links[i] & linkDown) reach(i + width);
      if (x > 0 && links[i - 1] & linkRight) reach(i - 1);
      if (i >= width && links[i - width] & linkDown) reach(i - width);
    }
    areas.push(area);
  }
  return { labels, areas };
}
