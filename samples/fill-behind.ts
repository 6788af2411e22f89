import type { SceneSize, Surface } from './scene.js';

/** A step in depth from one pixel to the next from which on the farther one is taken to go on behind, steps. */
const jumpSteps = 1.2;
/** How far the fill also lies under the farther side itself, px, so that interpolation leaves no crack. */
const overlapPx = 2;

/**
 * What may lie behind the depth edges of a surface: from every edge the farther side goes on under the nearer one,
 * out to `reachPx` or to where the nearer side falls back as deep. It has the depth of the edge's farther side and
 * its texture mirrored at the edge. Without it, blurred near edges would uncover holes.
 */
export function fillBehind(surface: Surface, size: SceneSize, reachPx: number): Surface {
  const width = size.width + 2 * size.margin;
  const { depth, rgba } = surface;
  const fill: Surface = {
    rgba: new Float32Array(rgba.length),
    depth: new Float32Array(depth.length).fill(Infinity),
  };
  /** The pixel of the farther side from which a pixel is filled, or -1. */
  const source = new Int32Array(depth.length).fill(-1);
  let front: number[] = [];
  const sides = [1, -1, width, -width];
  const isInner = (i: number): boolean => {
    const x = i % width;
    return x > 0 && x < width - 1 && i >= width && i < depth.length - width;
  };
  for (let i = 0; i < depth.length; i++) {
    if (!isInner(i) || rgba[4 * i + 3] === 0) continue;
    for (const side of sides) {
      const far = i + side;
      if (rgba[4 * far + 3] < 0.99 || depth[far] - depth[i] <= jumpSteps) continue;
      if (source[i] >= 0 && depth[source[i]] >= depth[far]) continue;
      if (source[i] < 0) front.push(i);
      source[i] = far;
    }
  }
  const edge = front;
  while (front.length > 0) {
    const next: number[] = [];
    for (const i of front) {
      const from = source[i];
      for (const side of sides) {
        const to = i + side;
        if (!isInner(to) || source[to] >= 0 || rgba[4 * to + 3] === 0) continue;
        if (depth[to] > depth[from] - jumpSteps / 2) continue;
        const offX = (to % width) - (from % width);
        const offY = Math.floor(to / width) - Math.floor(from / width);
        if (offX * offX + offY * offY > reachPx * reachPx) continue;
        source[to] = from;
        next.push(to);
      }
    }
    front = next;
  }
  for (let i = 0; i < depth.length; i++) {
    if (source[i] >= 0) copyPixel(surface, mirrored(i, source[i], surface, width), fill, i, depth[source[i]]);
  }
  for (const i of edge) underlap(surface, source[i], fill, width, isInner);
  return fill;
}

/** The pixel as far beyond the edge as `i` is before it, if it belongs to the same side, else the edge's own. */
function mirrored(i: number, from: number, { depth, rgba }: Surface, width: number): number {
  const x = 2 * (from % width) - (i % width);
  const mirror = 2 * from - i;
  if (x < 0 || x >= width || mirror < 0 || mirror >= depth.length || rgba[4 * mirror + 3] < 0.99) return from;
  return Math.abs(depth[mirror] - depth[from]) < jumpSteps ? mirror : from;
}

function underlap(
  surface: Surface,
  far: number,
  fill: Surface,
  width: number,
  isInner: (i: number) => boolean,
): void {
  for (let dy = -overlapPx; dy <= overlapPx; dy++) {
    for (let dx = -overlapPx; dx <= overlapPx; dx++) {
      const i = far + dy * width + dx;
      if (i < 0 || i >= surface.depth.length || !isInner(i) || fill.rgba[4 * i + 3] > 0) continue;
      if (Math.abs(surface.depth[i] - surface.depth[far]) < jumpSteps)
        copyPixel(surface, i, fill, i, surface.depth[i]);
    }
  }
}

function copyPixel(surface: Surface, from: number, fill: Surface, to: number, depth: number): void {
  for (let channel = 0; channel < 4; channel++)
    fill.rgba[4 * to + channel] = surface.rgba[4 * from + channel];
  fill.depth[to] = depth;
}
