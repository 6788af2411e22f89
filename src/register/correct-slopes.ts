import { extremeShare } from '../model/constants/model.js';
import { biasPx, sharpPx, steepPx } from '../model/constants/register.js';
import { blurFrom, slopeShare } from '../model/disc-blur.js';
import type { FrameRecord, MotionEvidence } from './assemble-solution.js';
import { type CentredMotion, invertMotion } from './centred-motion.js';
import { type Correspondences, fitMotion, type SharedErrors } from './fit-motion.js';
import type { PairLink } from './solve-stack.js';
import { readGrid, readMoved } from './tile-grid.js';

/** What is needed of a stack's evidence. */
type OfStack = Pick<MotionEvidence, 'motion' | 'fullSize' | 'radiusPx' | 'pitchPx' | 'grids'>;
type Framed = { frames: readonly Pick<FrameRecord, 'energies'>[] };

/** What pairs are measured again by, once it is known where each place was sharpest in the whole stack: plain data. */
export interface SlopeContext extends OfStack {
  /** Frame to anchor; undefined for frames that are not aligned. */
  motions: readonly (CentredMotion | undefined)[];
  /** By frame: what multiplies its energies to be those in the anchor's light. */
  lights: readonly number[];
  /** By level. */
  curves: readonly FocusCurves[];
}

export function slopeContext(
  { motion, fullSize, radiusPx, pitchPx, grids, frames }: OfStack & Framed,
  motions: readonly (CentredMotion | undefined)[],
  lights: readonly number[],
): SlopeContext {
  const curves = focusCurves({ grids, fullSize, frames }, motions, lights);
  return { motion, fullSize, radiusPx, pitchPx, grids, motions, lights, curves };
}

/**
 * Measures a pair again from its tiles. A slope of the defocus shifts what is sharp by what the tile's model says, and what is
 * blurred by less or to the other side; see `slopeShare`. Blurred tiles are moved accordingly and trusted less.
 */
export function correctLink(context: SlopeContext, link: PairLink, tiles: Correspondences): PairLink {
  const { motions, motion, radiusPx, pitchPx, lights } = context;
  const toAnchor = motions[link.from];
  if (!toAnchor || tiles.count < 4) return link;
  // The difference of the blur grows with the distance of the frames, and so does the change of what is sharp.
  const factor = pitchPx * (link.to - link.from) ** 2;
  const light = Math.sqrt(lights[link.from] * lights[link.to]);
  const { corrected, shared } = correctTiles(tiles, light, toAnchor, context, factor);
  const options = { radiusPx, shiftOnly: motion === 'shift', start: link.motion, shared };
  return { ...link, ...fitMotion(corrected, options) };
}

/** What a level shows over the whole stack at places of the anchor's framing, on the grid of its tiles. */
export interface FocusCurves {
  /** Most energy that any frame shows. */
  peak: Float32Array;
  /** Width of the focus curve, frames: the sum of all frames' energies over the peak's. */
  width: Float32Array;
  /** The width where the surface faces the camera. */
  facingWidth: number;
}

/**
 * How far a tile on a surface that turns away errs in scale, reduced pixels. Such a tile holds a range of depths, so that its
 * focus curve is wider than that of a surface that faces the camera (the squares of both widths add up), and its sharp part
 * moves through it as the focus travels: around a bulging subject all of them inward or outward. In the shift of a tile that
 * is  (blur a step)^2 x slope / 4  to first order; blur is in proportion to the wavelength over the curve's own width.
 */
function steepErrorPx({ facingWidth }: FocusCurves, width: number, level: number): number {
  // With a range of depths no longer than the curve itself it is sharp all at once, and does not move.
  const excess = (width / facingWidth) ** 2 - 2;
  return excess > 0 ? (steepPx * 2 ** level * Math.sqrt(excess)) / facingWidth : 0;
}

function focusCurves(
  { frames, grids, fullSize }: Pick<OfStack, 'grids' | 'fullSize'> & Framed,
  motions: readonly (CentredMotion | undefined)[],
  lights: readonly number[],
): FocusCurves[] {
  return grids.map((grid, level) => {
    const peak = new Float32Array(grid.columns * grid.rows);
    const width = new Float32Array(peak.length);
    frames.forEach(({ energies }, k) => {
      const motion = motions[k];
      if (!motion) return;
      const m = invertMotion(motion);
      for (let i = 0; i < peak.length; i++) {
        const energy = lights[k] * readMoved(energies[level], grid, fullSize, m, i);
        width[i] += energy;
        if (energy > peak[i]) peak[i] = energy;
      }
    });
    for (let i = 0; i < width.length; i++) width[i] /= Math.max(peak[i], 1e-6);
    const strong = peak.slice().sort()[peak.length >> 1];
    const widths = width.filter((_, i) => peak[i] >= strong).sort();
    return { peak, width, facingWidth: widths[Math.floor(extremeShare * widths.length)] };
  });
}

function correctTiles(
  tiles: Correspondences,
  light: number,
  toAnchor: CentredMotion,
  { curves, grids, fullSize }: SlopeContext,
  errorFactor: number,
): { corrected: Correspondences; shared: SharedErrors } {
  const { count, u, v, slopeU, slopeV } = tiles;
  const out: Correspondences = {
    ...tiles,
    foundU: tiles.foundU.slice(),
    foundV: tiles.foundV.slice(),
    xx: tiles.xx.slice(),
    xy: tiles.xy.slice(),
    yy: tiles.yy.slice(),
  };
  const shared = { positionPx: new Float32Array(count), scalePx: new Float32Array(count) };
  for (let i = 0; i < count; i++) {
    const level = tiles.level[i];
    const x = toAnchor.a * u[i] - toAnchor.b * v[i] + toAnchor.x;
    const y = toAnchor.b * u[i] + toAnchor.a * v[i] + toAnchor.y;
    const curve = curves[level];
    const peak = readGrid(curve.peak, grids[level], fullSize, x, y);
    const share = Math.min(1, (light * tiles.energy[i]) / Math.max(peak, 1e-6));
    const excess = 1 - slopeShare(blurFrom(share));
    out.foundU[i] -= excess * slopeU[i];
    out.foundV[i] -= excess * slopeV[i];
    // Of the powers 2 to 8 the 4th and 5th place frames best: in rendered scenes tiles that kept a quarter to a half of their energy err
    // together by a fifth of what blurrier ones do.
    const errorPx = errorFactor * (biasPx * (1 - share) ** 4 + sharpPx);
    shared.positionPx[i] = errorPx;
    // Outlines move as the surface that turns away behind them comes into focus.
    shared.scalePx[i] =
      tiles.outlineErrorPx[i] +
      errorFactor * steepErrorPx(curve, readGrid(curve.width, grids[level], fullSize, x, y), level) +
      errorPx;
    widen(out, i, errorPx ** 2);
  }
  return { corrected: out, shared };
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
