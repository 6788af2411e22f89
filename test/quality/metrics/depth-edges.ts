import { distanceTransform } from './distance.js';

/** A step of the true depth between neighbours larger than this is a depth edge, in steps of the rail. */
export const edgeSteps = 2;

/** Where the true depth breaks, and how far each pixel lies from there. Shapes (rows, cols). */
export interface DepthEdges {
  /** Distance to the nearest edge pixel on either side of the break, px; Infinity when there is none. */
  distancePx: Float32Array;
  /** 1 in the ring 3 to 15 px from the nearer side of a break, on its far side: where glow shows. */
  farRing: Uint8Array;
}

/**
 * Depth edges from the true depth in steps: both pixels of every 4-neighbour pair that differs by more than
 * `edgeSteps`. Pairs with an unknown (NaN) depth are no edge. Distances are exact.
 */
export function findDepthEdges(depth: Float32Array, width: number, height: number): DepthEdges {
  const either = new Uint8Array(depth.length);
  const nearer = new Uint8Array(depth.length);
  const compare = (i: number, j: number) => {
    if (!(Math.abs(depth[i] - depth[j]) > edgeSteps)) return;
    either[i] = 1;
    either[j] = 1;
    nearer[depth[i] < depth[j] ? i : j] = 1;
  };
  for (let y = 0, i = 0; y < height; y++) {
    for (let x = 0; x < width; x++, i++) {
      if (x + 1 < width) compare(i, i + 1);
      if (y + 1 < height) compare(i, i + width);
    }
  }
  const distancePx = distanceTransform(either, width, height).squared;
  for (let i = 0; i < distancePx.length; i++) distancePx[i] = Math.sqrt(distancePx[i]);
  const { squared, nearest } = distanceTransform(nearer, width, height);
  const farRing = new Uint8Array(depth.length);
  for (let i = 0; i < depth.length; i++) {
    if (squared[i] >= 9 && squared[i] <= 225 && depth[i] - depth[nearest[i]] > edgeSteps) farRing[i] = 1;
  }
  return { distancePx, farRing };
}
