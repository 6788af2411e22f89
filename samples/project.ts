import { invertMatrix } from '../src/image/transform.js';
import { blurDiameterPx, jitterMatrix, type Optics, type Pose, scaleToAnchor } from './camera.js';
import { discReaches, type Elements, type Grid, reserve } from './elements.js';
import type { SceneSize, Surface } from './scene.js';

/** What projecting needs to know of one frame. */
export interface View {
  /** No disc is drawn larger, px; the grid's border and the scene's margin are made for it. */
  maxRadiusPx: number;
  optics: Optics;
  stepMm: number;
  pose: Pose;
  grid: Grid;
  size: SceneSize;
}

/** Phases of the interpolation table: 1/256 px moves an edge of full contrast by less than half an 8-bit level. */
const phases = 256;

/** Catmull-Rom taps for each phase: R. Keys 1981, cubic convolution with a = -1/2. */
const taps = Float32Array.from({ length: (phases + 1) * 4 }, (_, i) => {
  const t = Math.abs(Math.floor(i / 4) / phases + 1 - (i % 4));
  return t < 1 ? 1.5 * t ** 3 - 2.5 * t ** 2 + 1 : -0.5 * t ** 3 + 2.5 * t ** 2 - 4 * t + 2;
});

const tileShift = 4;

/** One byte for each 16 x 16 tile: 1 where the tile or its rim holds anything. */
function occupiedTiles(surface: Surface, width: number, height: number): Uint8Array {
  const columns = (width >> tileShift) + 1;
  const tiles = new Uint8Array(columns * ((height >> tileShift) + 1));
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      if (surface.rgba[(y * width + x) * 4 + 3] === 0) continue;
      for (const dy of [-2, 2]) {
        const row = (Math.min(height - 1, Math.max(0, y + dy)) >> tileShift) * columns;
        tiles[row + (Math.max(0, x - 2) >> tileShift)] = 1;
        tiles[row + (Math.min(width - 1, x + 2) >> tileShift)] = 1;
      }
    }
  }
  return tiles;
}

const tilesOf = new WeakMap<Surface, Uint8Array>();

/**
 * Adds what a frame sees of a surface, one element a grid cell: colour by cubic interpolation at the place that the
 * pose and the depth found there lead to, depth by linear interpolation unless there is an edge.
 */
export function projectSurface(surface: Surface, rank: number, view: View, elements: Elements): void {
  const { optics, stepMm, pose, grid, size } = view;
  const width = size.width + 2 * size.margin;
  const height = size.height + 2 * size.margin;
  let tiles = tilesOf.get(surface);
  if (tiles === undefined) {
    tiles = occupiedTiles(surface, width, height);
    tilesOf.set(surface, tiles);
  }
  const columns = (width >> tileShift) + 1;
  const steady = invertMatrix(jitterMatrix(pose, size.width, size.height));
  const centreX = (size.width - 1) / 2;
  const centreY = (size.height - 1) / 2;
  const guess = scaleToAnchor(optics, 0, pose.positionMm);
  const { rgba, depth } = surface;
  const blur = blurRadius(view);
  const nearest = (x: number, y: number) => Math.round(y) * width + Math.round(x);
  reserve(elements, grid.stride * grid.rows);
  for (let row = 0; row < grid.rows; row++) {
    for (let column = 0; column < grid.stride; column++) {
      const frameX = column - grid.border;
      const frameY = row - grid.border;
      const offX = steady[0] * frameX + steady[1] * frameY + steady[2] - centreX;
      const offY = steady[3] * frameX + steady[4] * frameY + steady[5] - centreY;
      const nearX = Math.round(centreX + offX * guess) + size.margin;
      const nearY = Math.round(centreY + offY * guess) + size.margin;
      if (nearX < 2 || nearY < 2 || nearX >= width - 3 || nearY >= height - 3) continue;
      if (tiles[(nearY >> tileShift) * columns + (nearX >> tileShift)] === 0) continue;
      const steps = depth[nearY * width + nearX];
      if (!discReaches(grid, column, row, blur(steps))) continue;
      const scale = scaleToAnchor(optics, steps * stepMm, pose.positionMm);
      const x = centreX + offX * scale + size.margin;
      const y = centreY + offY * scale + size.margin;
      const left = Math.floor(x);
      const top = Math.floor(y);
      const tapX = Math.round((x - left) * phases) * 4;
      const tapY = Math.round((y - top) * phases) * 4;
      let red = 0;
      let green = 0;
      let blue = 0;
      let cover = 0;
      for (let j = 0; j < 4; j++) {
        const weightY = taps[tapY + j];
        let at = ((top + j - 1) * width + left - 1) * 4;
        for (let i = 0; i < 4; i++, at += 4) {
          const weight = weightY * taps[tapX + i];
          red += weight * rgba[at];
          green += weight * rgba[at + 1];
          blue += weight * rgba[at + 2];
          cover += weight * rgba[at + 3];
        }
      }
      if (cover < 0.004) continue;
      const n = elements.count;
      elements.depth[n] = depthBetween(depth, width, x, y);
      elements.radius[n] = blur(elements.depth[n]);
      if (!discReaches(grid, column, row, elements.radius[n])) continue;
      const growth = blurGrowth(blur, elements.depth[n]) * scale;
      const depthX = growth * depthSlope(depth, nearest(x, y), 1);
      const depthY = growth * depthSlope(depth, nearest(x, y), width);
      storeSlope(
        elements,
        n,
        depthX * steady[0] + depthY * steady[3],
        depthX * steady[1] + depthY * steady[4],
      );
      elements.count++;
      elements.cell[n] = row * grid.stride + column;
      elements.rgba[4 * n] = Math.max(0, red);
      elements.rgba[4 * n + 1] = Math.max(0, green);
      elements.rgba[4 * n + 2] = Math.max(0, blue);
      elements.rgba[4 * n + 3] = Math.min(1, cover);
      elements.rank[n] = rank;
    }
  }
}

/** Spread of four neighbouring depths, steps, from which on they belong to different things. */
const edgeSteps = 1;

/** Depth at a place between samples: bilinear on a surface, the nearest sample's where an edge runs through. */
function depthBetween(depth: Float32Array, width: number, x: number, y: number): number {
  const left = Math.floor(x);
  const top = Math.floor(y);
  const at = top * width + left;
  const a = depth[at];
  const b = depth[at + 1];
  const c = depth[at + width];
  const d = depth[at + width + 1];
  if (!(Math.max(a, b, c, d) - Math.min(a, b, c, d) < edgeSteps)) {
    const nearest = depth[Math.round(y) * width + Math.round(x)];
    // Beyond the rim of a surface there is no depth; its soft edge takes the rim's.
    return Number.isFinite(nearest) ? nearest : Math.min(a, b, c, d);
  }
  const u = x - left;
  const v = y - top;
  return (a * (1 - u) + b * u) * (1 - v) + (c * (1 - u) + d * u) * v;
}

/** Pixels to either side that the slope of a surface is taken over: recorded depths may rise by small stairs. */
const slopeReach = 2;

/** Steps per pixel in one direction, `pitch` samples from pixel to pixel; none across an edge or at a rim. */
function depthSlope(depth: Float32Array, at: number, pitch: number): number {
  const before = depth[at - slopeReach * pitch];
  const after = depth[at + slopeReach * pitch];
  const middle = depth[at];
  const apart = Math.max(Math.abs(middle - before), Math.abs(after - middle));
  return apart < slopeReach * edgeSteps ? (after - before) / (2 * slopeReach) : 0;
}

/** Steps over which the growth of the blur is taken. */
const growthSteps = 0.01;

/** Growth of the blur radius with the depth, px per step. */
export function blurGrowth(blur: (depthSteps: number) => number, depth: number): number {
  return (blur(depth + growthSteps) - blur(depth - growthSteps)) / (2 * growthSteps);
}

/** A slope of 1 would fold the picture over: one side of the lens sees the surface edge-on. */
const steepest = 0.9;

export function storeSlope(elements: Elements, n: number, slopeX: number, slopeY: number): void {
  const limit = Math.min(1, steepest / (Math.hypot(slopeX, slopeY) + 1e-12));
  elements.slope[2 * n] = limit * slopeX;
  elements.slope[2 * n + 1] = limit * slopeY;
}

/** Blur radius in pixels of a depth in steps, for one frame. */
export function blurRadius({ optics, stepMm, pose, maxRadiusPx }: View): (depthSteps: number) => number {
  return (depthSteps) =>
    Math.min(maxRadiusPx, blurDiameterPx(optics, depthSteps * stepMm - pose.positionMm) / 2);
}
