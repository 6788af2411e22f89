import type { Size } from '../image/image.js';
import type { FrameMotion } from '../register/motion-solution.js';
import { blurredFrames } from './blurred-frames.js';
import type { DetailGrid } from './detail-grid.js';
import { type FocusCurves, focusCurves } from './focus-curves.js';
import { type RailTravel, railTravel } from './rail-travel.js';
import { type FrameShake, measureShake } from './shake.js';
import { followTiles, type TileCurves } from './tile-curves.js';
import { equaliseNoise, matchLight } from './tile-noise.js';

/** Steps and shake of the frames of a stack, measured on its tiles. */
export interface StackTravel {
  tiles: TileCurves;
  curves: FocusCurves;
  shakes: FrameShake[];
  /** Indices of frames that are blurred as a whole. */
  blurred: Set<number>;
  travel: RailTravel;
}

/**
 * Measures steps and shake on the frames' detail, for a check and a merge alike.
 *
 * @param shrink Full-size pixels per pixel of the pictures that the grids were measured on.
 */
export function stackTravel(
  grids: readonly DetailGrid[],
  motions: readonly FrameMotion[],
  size: Size,
  shrink: number,
): StackTravel {
  const alignedGrids = grids.map((grid, k) => {
    const { usable, matrix } = motions[k];
    return { grid, matrix: usable ? matrix : undefined };
  });
  const tiles = followTiles(alignedGrids, size, shrink);
  equaliseNoise(tiles);
  matchLight(
    tiles,
    motions.map(({ gainRatio }) => lumaGain(gainRatio)),
  );
  const curves = focusCurves(tiles);
  const shakes = measureShake(tiles, curves.noise);
  const blurred = blurredFrames(shakes, motions);
  return { tiles, curves, shakes, blurred, travel: railTravel(curves, blurred) };
}

/** Gain of the brightness that `encodedLuma` makes of the channels. */
export function lumaGain(gainRatio: readonly number[]): number {
  const [red, green = red, blue = red] = gainRatio;
  return (red + 2 * green + blue) / 4;
}
