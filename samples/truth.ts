import { type Elements, type Grid, sortByDepth } from './elements.js';
import type { Scene } from './scene.js';

/** What a camera without blur and noise would have seen from the anchor's place. */
export interface Truth {
  /** Linear light, (height, width, 3). */
  linear: Float32Array;
  /** Steps from the anchor's plane of focus, positive away from the camera, (height, width). */
  depth: Float32Array;
}

/**
 * Lays the elements over each other from near to far without any blur. The depth of a pixel is that of the thing
 * with which at least half of it is covered.
 */
export function drawSharp(elements: Elements, ranks: number, grid: Grid, ground: Ground): Truth {
  const pixels = grid.width * grid.height;
  const linear = new Float32Array(pixels * 3);
  const depth = new Float32Array(pixels).fill(Number.NaN);
  const open = new Float32Array(pixels).fill(1);
  // A fine order: what overlaps in one slab would mix.
  const { order } = sortByDepth(elements, ranks, 0.05);
  for (const n of order) {
    const row = Math.floor(elements.cell[n] / grid.stride);
    const x = elements.cell[n] - row * grid.stride - grid.border;
    const y = row - grid.border;
    if (x < 0 || y < 0 || x >= grid.width || y >= grid.height) continue;
    const pixel = y * grid.width + x;
    if (open[pixel] <= 0) continue;
    for (let channel = 0; channel < 3; channel++) {
      linear[3 * pixel + channel] += open[pixel] * elements.rgba[4 * n + channel];
    }
    const before = open[pixel];
    open[pixel] *= 1 - elements.rgba[4 * n + 3];
    if (before > 0.5 && open[pixel] <= 0.5) depth[pixel] = elements.depth[n];
  }
  finishWithGround(linear, ground, (pixel) => open[pixel]);
  for (let pixel = 0; pixel < pixels; pixel++) {
    if (Number.isNaN(depth[pixel]) && ground.depth !== undefined) depth[pixel] = ground.depth;
  }
  return { linear, depth };
}

/** The ground as one frame sees it. */
export interface Ground {
  /** Undefined when the scene has none. */
  depth: number | undefined;
  /** Linear colour at a frame pixel. */
  colour(x: number, y: number, out: Float64Array): void;
  width: number;
}

/** The scene's backdrop seen through a frame's mapping of frame pixels to the anchor's framing. */
export function groundOf(
  scene: Scene,
  width: number,
  height: number,
  toAnchor: (x: number, y: number) => readonly [number, number],
): Ground {
  const { backdrop } = scene;
  return {
    depth: backdrop?.depth,
    width,
    colour(x, y, out) {
      if (backdrop === undefined) return;
      const [anchorX, anchorY] = toAnchor(x, y);
      backdrop.colour((anchorX + 0.5) / width, (anchorY + 0.5) / height, out);
    },
  };
}

/** Fills the part `open` of each pixel with the ground, or, where there is none, scales the rest to full weight. */
export function finishWithGround(
  linear: Float32Array,
  ground: Ground,
  open: (pixel: number) => number,
): void {
  const colour = new Float64Array(3);
  for (let pixel = 0; pixel < linear.length / 3; pixel++) {
    const part = open(pixel);
    if (part <= 0) continue;
    if (ground.depth === undefined) {
      if (part >= 1) continue;
      for (let channel = 0; channel < 3; channel++) linear[3 * pixel + channel] /= 1 - part;
      continue;
    }
    const y = Math.floor(pixel / ground.width);
    ground.colour(pixel - y * ground.width, y, colour);
    for (let channel = 0; channel < 3; channel++) linear[3 * pixel + channel] += part * colour[channel];
  }
}
