import type { Size } from '../image/image.js';
import type { MotionModel } from '../merge/options.js';
import { type CentredMotion, invertMotion } from './centred-motion.js';
import { blurFrom, mostBlur, slopeShare } from './disc-blur.js';
import { type Correspondences, fitMotion } from './fit-motion.js';
import type { PairLink } from './solve-stack.js';
import { readGrid, type TileGrid } from './tile-grid.js';

/** What is needed of a stack's evidence. */
export interface SlopeEvidence {
  motion: MotionModel;
  fullSize: Size;
  radiusPx: number;
  /** Full-size pixels per reduced pixel. */
  pitchPx: number;
  frames: readonly { energies: readonly Float32Array[] }[];
  links: readonly PairLink[];
  /** The tiles of each link. */
  tiles: readonly Correspondences[];
  grids: readonly TileGrid[];
}

/**
 * Error of a tile at the greatest blur, pixels of its level; less with the fourth power of the blur. Large, so that a
 * few sharp tiles outweigh the many blurred ones, whose outlines and highlights all err to one side.
 */
const blurredPx = 5;
/** How much of it the tiles of a pair have in common: where nothing is sharp, the evenness of the rail's steps leads. */
const commonShare = 10;

/**
 * Measures the pairs again from their tiles, now that it is known where each place was sharpest in the whole stack.
 * A slope of the defocus shifts what is sharp by what the tile's model says, and what is blurred by less or to the
 * other side; see `slopeShare`. Blurred tiles are moved accordingly and trusted less.
 */
export function correctSlopes(
  evidence: SlopeEvidence,
  motions: readonly (CentredMotion | undefined)[],
): PairLink[] {
  const peaks = sharpest(evidence, motions);
  return evidence.links.map((link, i) => {
    const toAnchor = motions[link.from];
    const tiles = evidence.tiles[i];
    if (!toAnchor || tiles.count < 4) return link;
    const corrected = correctTiles(tiles, toAnchor, peaks, evidence);
    const { motion, information, scaleDoubtPx, shiftDoubtPx } = fitMotion(
      corrected,
      evidence.radiusPx,
      evidence.motion === 'shift',
    );
    return { ...link, motion, information, scaleDoubtPx, shiftDoubtPx };
  });
}

/** Most energy that any frame shows at a place of the anchor's framing, by level, on the grid of its tiles. */
function sharpest(
  { frames, grids, fullSize }: SlopeEvidence,
  motions: readonly (CentredMotion | undefined)[],
): Float32Array[] {
  return grids.map((grid, level) => {
    const peak = new Float32Array(grid.columns * grid.rows);
    frames.forEach(({ energies }, k) => {
      const motion = motions[k];
      if (!motion) return;
      const m = invertMotion(motion);
      for (let row = 0, i = 0; row < grid.rows; row++) {
        for (let column = 0; column < grid.columns; column++, i++) {
          const u = (column + 0.5) * grid.pitchX - fullSize.width / 2;
          const v = (row + 0.5) * grid.pitchY - fullSize.height / 2;
          const energy = readGrid(
            energies[level],
            grid,
            fullSize,
            m.a * u - m.b * v + m.x,
            m.b * u + m.a * v + m.y,
          );
          if (energy > peak[i]) peak[i] = energy;
        }
      }
    });
    return peak;
  });
}

function correctTiles(
  tiles: Correspondences,
  toAnchor: CentredMotion,
  peaks: readonly Float32Array[],
  { grids, fullSize, pitchPx }: SlopeEvidence,
): Correspondences {
  const { count, u, v, slopeU, slopeV } = tiles;
  const out: Correspondences = {
    ...tiles,
    foundU: tiles.foundU.slice(),
    foundV: tiles.foundV.slice(),
    xx: tiles.xx.slice(),
    xy: tiles.xy.slice(),
    yy: tiles.yy.slice(),
    doubtPx: tiles.doubtPx.slice(),
  };
  for (let i = 0; i < count; i++) {
    const level = tiles.level[i];
    const x = toAnchor.a * u[i] - toAnchor.b * v[i] + toAnchor.x;
    const y = toAnchor.b * u[i] + toAnchor.a * v[i] + toAnchor.y;
    const peak = readGrid(peaks[level], grids[level], fullSize, x, y);
    const blur = blurFrom(tiles.energy[i] / Math.max(peak, tiles.energy[i], 1e-6));
    const excess = 1 - slopeShare(blur);
    out.foundU[i] -= excess * slopeU[i];
    out.foundV[i] -= excess * slopeV[i];
    const error = blurredPx * (blur / mostBlur) ** 4 * 2 ** level * pitchPx;
    widen(out, i, error * error);
    out.doubtPx[i] += commonShare * error;
  }
  return out;
}

/** Adds a variance, the same along u and v, to a tile's covariance. */
function widen(tiles: Correspondences, i: number, variance: number): void {
  const det = tiles.xx[i] * tiles.yy[i] - tiles.xy[i] ** 2;
  if (!(det > 0)) return;
  const uu = tiles.yy[i] / det + variance;
  const uv = -tiles.xy[i] / det;
  const vv = tiles.xx[i] / det + variance;
  const d = uu * vv - uv * uv;
  tiles.xx[i] = vv / d;
  tiles.xy[i] = -uv / d;
  tiles.yy[i] = uu / d;
}
