import type { Size } from '../image/image.js';
import {
  noiseDoublingCodes,
  noiseLevels,
  noiseRangeCodes,
  noiseSamples,
  noiseSpreadCodes,
  noiseSpreadFrames,
  windowRadius,
} from '../model/constants/focus.js';
import {
  afterPlane,
  beforePlane,
  bestOrdinalPlane,
  bestPlane,
  coarseTonesPlane,
  frontPlane,
  latestPlane,
  secondOrdinalPlane,
  secondPlane,
  tonesPlane,
  valleyPlane,
} from '../model/constants/state.js';
import { bendSamples } from '../model/constants/surface.js';

/** Planes of the focus-curve state by name. */
export const statePlane = {
  best: bestPlane,
  before: beforePlane,
  after: afterPlane,
  latest: latestPlane,
  valley: valleyPlane,
  second: secondPlane,
  bestOrdinal: bestOrdinalPlane,
  secondOrdinal: secondOrdinalPlane,
  front: frontPlane,
  tones: tonesPlane,
  coarseTones: coarseTonesPlane,
} as const;

export type StatePlane = keyof typeof statePlane;

/** Level of the pyramid from which on whole curves are followed. */
export type CurveLevel = 0 | 1;

/** Pixels of a level at the edge of a frame that tell no focus. */
export const unmeasuredEdge = 2;

/** Planes of the state of a level, of those that are followed. */
export function statePlanes(level: number): number {
  return level === 0 ? 11 : 9;
}

/** Bins of brightness that the noise is told apart by. */
export const noiseBins = 8;

/** Brightness bin of a luma of 0 to 255. */
export function noiseBin(tone: number): number {
  return Math.min(noiseBins - 1, (tone * noiseBins) >> 8);
}

/** Focus curves of pixels on a grid, `gridStep` apart in both directions, row by row. */
export interface CurveGrid {
  best: Uint16Array;
  before: Uint16Array;
  after: Uint16Array;
  bestOrdinal: Uint16Array;
}

/** Distance of the pixels of a grid of about `bendSamples`. */
export function gridStep({ width, height }: Size): number {
  return Math.max(1, Math.ceil(Math.sqrt((width * height) / bendSamples)));
}

/** How focus curves bend about their peaks. */
export interface CurveBends {
  readonly levels: number;
  /** Level of the picture's pyramid that level 0 of the curves is. */
  readonly finest: CurveLevel;
  /** Curves from all over a level, about `bendSamples`. */
  grid(level: number): CurveGrid;
  /** By brightness bin: see `noiseCodesOf`. */
  noiseCodes(level: number): Float64Array;
  /** Of each level, what `innerBend` finds, where that has been asked before. */
  readonly bends?: readonly (number | undefined)[];
}

/** What is asked of the focus curves before the surface is made of them. */
export interface FocusCurves extends CurveBends {
  /** Of each level: its size. */
  readonly state: readonly Size[];
  /** What places of a level show of which end is near: see `siteVotes` in site-votes.ts. */
  siteVotes(level: number, frames: number, apart: number): Iterable<SiteVote>;
}

/** A pixel of a level beside a depth edge, and what it shows: -1 to 1, above 0 where the lower ordinal is near. */
export interface SiteVote {
  x: number;
  y: number;
  vote: number;
}

/**
 * Code of the measure where frames show their noise alone, by brightness (`noiseBins` bins of luma x 64): the
 * noise of light grows with light. Most of a frame is out of focus, so the low end of its measures is noise: the
 * tenth percentile of each frame, the median over the frames, raised from there to what the best of so many
 * frames of pure noise shows. Bins that no frame fills take the nearest one's; at the finest levels none stands far
 * above the lowest.
 *
 * @param low Tenth percentiles of a level: [brightness bin][frame].
 */
export function noiseCodesOf(low: readonly (readonly number[])[], level: number): Float64Array {
  const frames = Math.max(1, ...low.map((bin) => bin.length));
  const spread = noiseSpreadCodes + noiseDoublingCodes * Math.max(0, Math.log2(frames / noiseSpreadFrames));
  const codes = low.map((bin) => {
    const sorted = bin.toSorted((first, second) => first - second);
    return sorted.length > 0 ? sorted[sorted.length >> 1] + spread : Number.NaN;
  });
  const filled = codes.map((code, bin) => {
    if (!Number.isNaN(code)) return code;
    const known = codes.map((_, other) => other).filter((other) => !Number.isNaN(codes[other]));
    known.sort((first, second) => Math.abs(first - bin) - Math.abs(second - bin));
    return known.length > 0 ? codes[known[0]] : spread;
  });
  if (level >= noiseLevels) return Float64Array.from(filled);
  const most = Math.min(...filled) + noiseRangeCodes;
  return Float64Array.from(filled, (code) => Math.min(code, most));
}

/** A spot of the sensor that tells no focus, in pixels of a frame. */
export interface MaskedDisc {
  x: number;
  y: number;
  radius: number;
}

/** Where a level has no measure because of dust: as far as the windows reach, for its rim is not the subject's. */
export function discAtLevel({ x, y, radius }: MaskedDisc, level: number): MaskedDisc {
  return { x: x / 2 ** level, y: y / 2 ** level, radius: radius / 2 ** level + windowRadius };
}

/** Which pixels of a level tell the noise: every `every`-th, so far from the edges. */
export function noiseGrid({ width, height }: Size, level: number): { edge: number; every: number } {
  const every = Math.max(5 >> level, Math.ceil(Math.sqrt((width * height) / noiseSamples)), 1);
  return { edge: 3, every };
}
