import { isMetric, type ResultScale } from './scale.js';
import type { SurfaceRaster } from './surface-raster.js';

/**
 * How far apart two eyes see what lies at a depth, in cells of a raster: none at the nearest, which lies in the plane of
 * the picture, and more the farther it is.
 */
export interface Parallax {
  /** Depths that are told apart: what lies beyond is taken for these. */
  near: number;
  far: number;
  /** Cells for each unit of depth beyond `near`. */
  perDepth: number;
}

/** Share of the cells that may lie nearer, and farther, than what parallax is measured between. */
const outerShare = 0.002;
/**
 * Widest angle between the two lines of sight, where the scale is known: that of eyes 63 mm apart on what is held 0.7 m
 * away. More makes a shallow thing look deep. (Common practice, no source.)
 */
const maxAngleDegrees = 5;

/**
 * The parallax of a surface: in proportion to depth, as two parallel views of the relief from either side have it.
 *
 * @param maxShare Largest parallax as a share of the width of a view, whose sides are cut off where they show nothing.
 */
export function parallaxOf(
  { width, depth }: SurfaceRaster,
  scale: ResultScale,
  cellPx: number,
  maxShare: number,
): Parallax {
  const known = depth.filter((value) => !Number.isNaN(value)).sort();
  const at = (share: number) => known[Math.min(known.length - 1, Math.floor(share * known.length))];
  const [near, far] = [at(outerShare), at(1 - outerShare)];
  const range = Math.max(far - near, Number.MIN_VALUE);
  // Half of it is cut off either side, and up to two columns for whole ones: of what remains it may be the share.
  const widest = (maxShare * (width - 2)) / (1 + maxShare);
  let perDepth = far > near ? widest / range : 0;
  if (isMetric(scale)) {
    const cell = cellPx * scale.mmPerPixel;
    perDepth = Math.min(perDepth, (Math.tan((maxAngleDegrees * Math.PI) / 180) * scale.mmPerDepth) / cell);
  }
  return { near, far, perDepth };
}

/** Cells by which the right eye sees a depth farther right than the left eye. */
export function parallaxAt({ near, far, perDepth }: Parallax, depth: number): number {
  return perDepth * (Math.max(near, Math.min(far, depth)) - near);
}
