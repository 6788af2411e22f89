import type { Correspondences } from './fit-motion.js';
import type { TileStep } from './match-tile.js';

/** Lower bound on the error of any tile, pixels of its level. */
const minErrorPx = 0.03;
/**
 * Gradient of contrast along a tile that its model does not include, per pixel. It causes an apparent shift of that
 * times the squared wavelength: hardly any across a hair, much along it, where only the fading of the hair is visible.
 */
const contrastGradient = 0.03;
/** Error of a tile that is not explained at all (occlusion, motion of the subject), pixels of the level. */
const unexplainedPx = 0.1;
/**
 * Error of a tile that contains only a step edge, pixels of the finest level. Such an edge is an outline: the surface
 * turns away there, and as its rim comes into focus the outline moves, for all rims in the same direction, and as far
 * on a coarse level as on a fine one.
 */
const outlinePx = 2;
/** Share of that error that is common to the tiles of a pair. */
const outlineSharedRatio = 2;
/** Sign ratio from which features are hairs rather than step edges; see `momentCount`. */
const minHairSign = 0.5;

/**
 * Information about a tile's position, including errors that do not show in its noise, in full-size pixels. `sign` is
 * the last of the tile's moments, `pitch` the full-size pixels per pixel of the level `level`.
 */
export function storeInformation(
  tiles: Correspondences,
  k: number,
  step: TileStep,
  sign: number,
  level: number,
  pitchX: number,
  pitchY: number,
): void {
  const trace = step.xx + step.yy;
  // 1 when all gradients have one direction, 0 when they are isotropic.
  const coherence = ((step.xx - step.yy) ** 2 + 4 * step.xy ** 2) / (trace * trace);
  const outline = Math.max(0, 1 - sign / minHairSign) * coherence * coherence;
  const outlineError = (outlinePx * outline) / 2 ** level;
  const even = minErrorPx ** 2 + unexplainedPx ** 2 * (1 - step.explained) + outlineError ** 2;
  const det = step.xx * step.yy - step.xy * step.xy;
  const ixx = step.yy / det;
  const ixy = -step.xy / det;
  const iyy = step.xx / det;
  // The square of the inverse of the information, times energy: the squared wavelength along each axis, squared.
  const fading = (contrastGradient * step.energy) ** 2;
  const cxx = ixx + even + fading * (ixx * ixx + ixy * ixy);
  const cxy = ixy + fading * ixy * (ixx + iyy);
  const cyy = iyy + even + fading * (iyy * iyy + ixy * ixy);
  const d = cxx * cyy - cxy * cxy;
  tiles.xx[k] = cyy / d / (pitchX * pitchX);
  tiles.xy[k] = -cxy / d / (pitchX * pitchY);
  tiles.yy[k] = cxx / d / (pitchY * pitchY);
  tiles.sharedErrorPx[k] = outlineSharedRatio * outlineError * pitchX;
}
