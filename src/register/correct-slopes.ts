import type { Size } from '../image/image.js';
import type { MotionModel } from '../merge/options.js';
import { type CentredMotion, invertMotion } from './centred-motion.js';
import { blurFrom, mostBlur, slopeShare } from './disc-blur.js';
import { type Correspondences, fitMotion, type MotionFit } from './fit-motion.js';
import { type PairLink, withDoubts } from './solve-stack.js';
import { solveSymmetric } from './solve-symmetric.js';
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
 * How far the tiles of a pair are trusted: errors in reduced pixels, that of the blur at the greatest blur and less with
 * its fourth power. They are large, so that a few sharp tiles outweigh the many blurred ones, whose outlines and
 * highlights all err to one side.
 */
interface TileTrust {
  blurredPx(level: number): number;
  /** Added for each level above the finest. */
  levelPx: number;
}

/**
 * What is blurred seems to grow less than it does, on all levels and on both sides of the focus, and over a stack that
 * adds up. So the scale is left to what is sharp on the finest levels.
 */
const scaleTrust: TileTrust = { blurredPx: (level) => 5 * 2 ** level, levelPx: 0.3 };
/**
 * Shift and roll suffer less, and need tiles all over the frame: where the few sharp ones lie close together, they do
 * not tell how the frame turns about them.
 */
const placeTrust: TileTrust = { blurredPx: (level) => Math.min(5 * 2 ** level, 15), levelPx: 0.2 };
/** How much of it the tiles of a pair have in common: where nothing is sharp, the evenness of the rail's steps leads. */
const commonShare = 3;
/** Doubt of the scale, px at the radius, between frames that are not neighbours: hardly anything is sharp in both. */
const distantDoubtPx = 5;
/** Stands for not knowing, px. */
const unknownPx = 1000;

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
    const fitBy = (trust: TileTrust) =>
      fitMotion(
        correctTiles(tiles, toAnchor, peaks, evidence, trust),
        evidence.radiusPx,
        evidence.motion === 'shift',
      );
    const scale = fitBy(scaleTrust);
    const place = fitBy(placeTrust);
    const scaleDoubtPx = Math.hypot(scale.scaleDoubtPx, link.to - link.from > 1 ? distantDoubtPx : 0);
    const joined = joinFits(
      [
        { ...scale, doubtsPx: [scaleDoubtPx, unknownPx, unknownPx, unknownPx] },
        { ...place, doubtsPx: [unknownPx, 0, place.shiftDoubtPx, place.shiftDoubtPx] },
      ],
      link.motion,
      evidence.radiusPx,
    );
    // Their doubts are in the information.
    return { ...link, ...joined, scaleDoubtPx: 0, shiftDoubtPx: 0 };
  });
}

/** Fits of the same pair as one, each as far as its doubts about a, b, x and y allow. */
function joinFits(
  fits: readonly (Pick<MotionFit, 'motion' | 'information'> & { doubtsPx: readonly number[] })[],
  start: CentredMotion,
  radiusPx: number,
): Pick<PairLink, 'motion' | 'information'> {
  const information = new Float64Array(16);
  const right = new Float64Array(4);
  for (const { motion, information: claimed, doubtsPx } of fits) {
    const trusted = withDoubts(claimed, doubtsPx);
    const step = [
      (motion.a - start.a) * radiusPx,
      (motion.b - start.b) * radiusPx,
      motion.x - start.x,
      motion.y - start.y,
    ];
    for (let i = 0; i < 16; i++) {
      information[i] += trusted[i];
      right[i >> 2] += trusted[i] * step[i & 3];
    }
  }
  const step = solveSymmetric(information, right, 4);
  if (!step) return { motion: start, information };
  const motion = {
    a: start.a + step[0] / radiusPx,
    b: start.b + step[1] / radiusPx,
    x: start.x + step[2],
    y: start.y + step[3],
  };
  return { motion, information };
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
  { blurredPx, levelPx }: TileTrust,
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
    const error = (levelPx * level + blurredPx(level) * (blur / mostBlur) ** 4) * pitchPx;
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
