import { biasPx, contrastGradient, hairSign, sharpPx } from '../model/constants/register.js';
import type { Correspondences } from './fit-motion.js';
import type { TileStep } from './match-tile.js';

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
  pitch: number,
): void {
  const trace = step.xx + step.yy;
  // 1 when all gradients have one direction, 0 when they are isotropic.
  const coherence = ((step.xx - step.yy) ** 2 + 4 * step.xy ** 2) / (trace * trace);
  const outline = Math.max(0, 1 - sign / hairSign) * coherence * coherence;
  const outlineError = (biasPx * outline) / 2 ** level;
  const even = sharpPx ** 2 + outlineError ** 2;
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
  tiles.xx[k] = cyy / d / pitch ** 2;
  tiles.xy[k] = -cxy / d / pitch ** 2;
  tiles.yy[k] = cxx / d / pitch ** 2;
  tiles.outlineErrorPx[k] = outlineError * pitch;
}
