import type { RunRecord } from '../result/run-record.js';
import type { ReliefMesh } from './relief-mesh.js';
import { isMetric, type LengthUnit, type ResultScale, spacePoint } from './scale.js';

/** Where the points of a picture lie in space: x right, y up, z towards the camera, from the middle of the anchor's field. */
export interface SpaceMap {
  unit: LengthUnit;
  /** Lengths of one unit of depth.tif. */
  perDepth: number;
  /** Length of one pixel at the anchor's plane of focus. */
  perPixel: number;
  at(x: number, y: number, depth: number): [x: number, y: number, z: number];
}

/** Depth of a relief without a scale, as a share of the picture's width: enough to be seen, and said. */
const unscaledDepthShare = 0.25;

/**
 * In millimetres where the scale is known. Else pixels count across, and depth is drawn as a share of the picture's width:
 * how many pixels a step is then long nobody knows.
 */
export function spaceMap(record: RunRecord, scale: ResultScale): SpaceMap {
  const { min, max } = record.maps.depth;
  const range = Math.max((max ?? 0) - (min ?? 0), scale.stepDepth);
  const [perPixel, perDepth] = isMetric(scale)
    ? [scale.mmPerPixel, scale.mmPerDepth]
    : [1, (unscaledDepthShare * record.size.width) / range];
  return {
    unit: isMetric(scale) ? 'mm' : 'px',
    perDepth,
    perPixel,
    at(x, y, depth) {
      const [right, down, away] = spacePoint(scale, { perPixel, perDepth }, x, y, depth);
      return [right, -down, -away];
    },
  };
}

/** Composite pixels of a mesh's corners: the first cell begins half a pixel before the middle of its first pixel. */
export function cornerPixel(corner: number, cellPx: number, pixels: number): number {
  return Math.min(corner * cellPx, pixels) - 0.5;
}

/** (vertices, 3), in the unit and axes of `space`. */
export function meshPoints(
  { corners, depth }: ReliefMesh,
  cellPx: number,
  { size }: RunRecord,
  space: SpaceMap,
): Float32Array {
  const points = new Float32Array(3 * depth.length);
  for (let i = 0; i < depth.length; i++) {
    const x = cornerPixel(corners[2 * i], cellPx, size.width);
    const y = cornerPixel(corners[2 * i + 1], cellPx, size.height);
    points.set(space.at(x, y, depth[i]), 3 * i);
  }
  return points;
}

/** Unit normals of vertices, (vertices, 3): means over the triangles around, by their areas. */
export function vertexNormals(points: Float32Array, triangles: Uint32Array): Float32Array {
  const normals = new Float32Array(points.length);
  // Lengths of a picture are small: areas of its triangles in metres would get lost in single precision.
  let largest = 0;
  for (let i = 0; i < points.length; i++) largest = Math.max(largest, Math.abs(points[i]));
  const grow = 1000 / (largest || 1);
  for (let t = 0; t < triangles.length; t += 3) {
    const [a, b, c] = [3 * triangles[t], 3 * triangles[t + 1], 3 * triangles[t + 2]];
    const [ux, uy, uz] = [0, 1, 2].map((k) => (points[b + k] - points[a + k]) * grow);
    const [vx, vy, vz] = [0, 1, 2].map((k) => (points[c + k] - points[a + k]) * grow);
    const normal = [uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx];
    for (const corner of [a, b, c]) for (let k = 0; k < 3; k++) normals[corner + k] += normal[k];
  }
  for (let i = 0; i < normals.length; i += 3) {
    const length = Math.hypot(normals[i], normals[i + 1], normals[i + 2]);
    if (length > 0) for (let k = 0; k < 3; k++) normals[i + k] /= length;
    else normals[i + 2] = 1;
  }
  return normals;
}

/** Size of the box around points, along x, y and z. */
export function pointsBox(points: Float32Array): { min: number[]; max: number[]; size: number[] } {
  const min = [0, 1, 2].map(() => Number.POSITIVE_INFINITY);
  const max = [0, 1, 2].map(() => Number.NEGATIVE_INFINITY);
  for (let i = 0; i < points.length; i++) {
    if (points[i] < min[i % 3]) min[i % 3] = points[i];
    if (points[i] > max[i % 3]) max[i % 3] = points[i];
  }
  return { min, max, size: max.map((value, k) => value - min[k]) };
}
