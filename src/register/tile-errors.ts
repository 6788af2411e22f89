import type { Correspondences } from './fit-motion.js';
import type { TileStep } from './match-tile.js';

/** Error of any tile, pixels of its level. */
const floorPx = 0.03;
/**
 * Change of contrast along a tile that its model does not follow, per pixel. It looks like a shift of that times the
 * squared wavelength: hardly any across a hair, much along it, where nothing but the fading of the hair can be seen.
 */
const unmodelledFading = 0.03;
/** Error where the tile is not explained at all (things hidden or moved), pixels of the level. */
const unexplainedPx = 0.1;
/**
 * Error of a tile that holds nothing but a step edge, pixels of the finest level. Such an edge is an outline: the
 * surface turns away there, and as its rim comes into focus the outline moves, for all rims to the same side, and as
 * far on a coarse level as on a fine one.
 */
const outlinePx = 2;
/** How much of that error the tiles of a pair have in common. */
const outlineShare = 2;
/** Features of one sign from this on are no step edges; see `momentCount`. */
const hairSign = 0.5;

/**
 * Information about a tile's place, with the errors that its noise does not show, in full-size pixels.
 * `sign` is the last of the tile's moments, `pitch` the full-size pixels per pixel of the level `level`.
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
  // 1 when all gradients point one way, 0 when they point everywhere.
  const coherence = ((step.xx - step.yy) ** 2 + 4 * step.xy ** 2) / (trace * trace);
  const outline = Math.max(0, 1 - sign / hairSign) * coherence * coherence;
  const outlineError = (outlinePx * outline) / 2 ** level;
  const even = floorPx ** 2 + unexplainedPx ** 2 * (1 - step.explained) + outlineError ** 2;
  const det = step.xx * step.yy - step.xy * step.xy;
  const ixx = step.yy / det;
  const ixy = -step.xy / det;
  const iyy = step.xx / det;
  // The square of the inverse of the information, times energy: the squared wavelength along each axis, squared.
  const fading = (unmodelledFading * step.energy) ** 2;
  const cxx = ixx + even + fading * (ixx * ixx + ixy * ixy);
  const cxy = ixy + fading * ixy * (ixx + iyy);
  const cyy = iyy + even + fading * (iyy * iyy + ixy * ixy);
  const d = cxx * cyy - cxy * cxy;
  tiles.xx[k] = cyy / d / (pitchX * pitchX);
  tiles.xy[k] = -cxy / d / (pitchX * pitchY);
  tiles.yy[k] = cxx / d / (pitchY * pitchY);
  tiles.doubtPx[k] = outlineShare * outlineError * pitchX;
}
