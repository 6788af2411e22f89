import type { Arena } from '../kernels/arena.js';
import type { DirectKernels } from '../kernels/direct-kernels.js';
import { minSample } from '../model/constants/model.js';
import {
  maxStepPx,
  minExplained,
  motionParameters,
  roundsByLevel,
  slantFactor,
  tileBudget,
  tileSide,
  votingLevels,
} from '../model/constants/register.js';
import { type BandLevel, tileOrigin } from './band-pyramid.js';
import type { CentredMotion } from './centred-motion.js';
import { chooseTiles } from './choose-tiles.js';
import { searchShift } from './coarse-search.js';
import {
  type Correspondences,
  createCorrespondences,
  fitMotion,
  type MotionFit,
  tileColumns,
} from './fit-motion.js';
import { crossCount, momentCount, solveTile } from './match-tile.js';
import { storeInformation } from './tile-errors.js';

/** Position of a level's pixels in the full-size frame: centred u = (x + 0.5) * pitch - halfX. */
export interface LevelGeometry {
  pitch: number;
  halfX: number;
  halfY: number;
}

/** The geometry of every level for a full-size frame and the factor of the reduced picture. */
export function levelGeometries(
  levels: number,
  fullSize: { width: number; height: number },
  factor: number,
): LevelGeometry[] {
  return Array.from({ length: levels }, (_, n) => ({
    pitch: factor * 2 ** n,
    halfX: fullSize.width / 2,
    halfY: fullSize.height / 2,
  }));
}

/** Motion measured between two frames: reference -> moving, in centred full-size pixels. */
export interface PairMeasurement extends MotionFit {
  /** Whether enough tiles agree for the motion to be reliable. */
  reliable: boolean;
  /** The tiles that were matched. */
  tiles: Correspondences;
}

export interface PairOptions {
  radiusPx: number;
  shiftOnly: boolean;
  /** Start of the iteration; without it the coarsest level is searched. */
  start?: CentredMotion | undefined;
}

/** Where the scratch buffers for comparing tiles lie. */
export interface TilePlace {
  /** As `crossTiles` and `momentTiles` have them. */
  placesPointer: number;
  crossPointer: number;
  rowsPointer: number;
}

/** Kernels for comparing tiles, and their scratch buffers. */
export interface TileScratch extends TilePlace {
  kernels: DirectKernels;
  /** Where tiles lie, and the same memory by doubles, and the sums that a comparison returns for each. */
  places: Int32Array;
  positions: Float64Array;
  cross: Float64Array;
}

/** Bytes that say where a pair of tiles lies. */
const placeBytes = 24;
/** Tiles that are compared at once, at most. */
const mostTiles = Math.max(...tileBudget);

export function takeTilePlace(arena: Arena): TilePlace {
  return {
    placesPointer: arena.take(placeBytes * mostTiles),
    crossPointer: arena.take(8 * crossCount * mostTiles),
    rowsPointer: arena.take(4 * tileSide * (tileSide + 3)),
  };
}

export function tileScratchAt(
  place: TilePlace,
  { buffer }: WebAssembly.Memory,
  kernels: DirectKernels,
): TileScratch {
  return {
    ...place,
    kernels,
    places: new Int32Array(buffer, place.placesPointer, (placeBytes / 4) * mostTiles),
    positions: new Float64Array(buffer, place.placesPointer, (placeBytes / 8) * mostTiles),
    cross: new Float64Array(buffer, place.crossPointer, crossCount * mostTiles),
  };
}

/**
 * Motion between two frames from their band-passed pyramids. Coarse to fine, each level: tiles that have detail in both
 * frames are compared by one Gauss-Newton step each, with a local contrast of every tile, and a robust fit over the
 * tiles gives the motion. At the end the tiles of the finest levels are fitted together.
 */
export function measurePair(
  reference: readonly BandLevel[],
  moving: readonly BandLevel[],
  geometry: readonly LevelGeometry[],
  tileScratch: TileScratch,
  options: PairOptions,
): PairMeasurement {
  const { radiusPx, shiftOnly } = options;
  const top = reference.length - 1;
  let motion: CentredMotion;
  if (options.start) motion = options.start;
  else {
    const { dx, dy } = searchShift(reference[top], moving[top]);
    motion = { a: 1, b: 0, x: dx * geometry[top].pitch, y: dy * geometry[top].pitch };
  }
  const matches: Correspondences[] = [];
  const from = options.start ? Math.min(votingLevels - 1, top) : top;
  for (let n = from; n >= 0; n--) {
    for (let round = roundsByLevel[n] ?? 2; round > 0; round--) {
      const found = compareLevel(reference[n], moving[n], geometry[n], n, motion, tileScratch);
      if (n < votingLevels && round === 1) matches.push(found);
      if (n === 0 || found.count < 4) break;
      // The few tiles of the coarsest level cannot separate scale from a local error.
      const fit = fitMotion(found, { radiusPx, shiftOnly: shiftOnly || n > 3 });
      if (countAgreeing(found) >= 4) motion = fit.motion;
    }
  }
  return fitLevels(matches, radiusPx, shiftOnly, motion);
}

/** One Gauss-Newton step for every chosen tile of a level. */
function compareLevel(
  reference: BandLevel,
  moving: BandLevel,
  geometry: LevelGeometry,
  n: number,
  motion: CentredMotion,
  scratch: TileScratch,
): Correspondences {
  const { pitch, halfX, halfY } = geometry;
  const { tile, stride } = reference;
  const toMoving = (x: number, y: number): [number, number] => {
    const u = (x + 0.5) * pitch - halfX;
    const v = (y + 0.5) * pitch - halfY;
    return [
      (motion.a * u - motion.b * v + motion.x + halfX) / pitch - 0.5,
      (motion.b * u + motion.a * v + motion.y + halfY) / pitch - 0.5,
    ];
  };
  const chosen = chooseTiles(reference, moving, toMoving, tileBudget[n] ?? tileBudget[tileBudget.length - 1]);
  const tiles = createCorrespondences(chosen.length);
  measureMoments(reference, chosen, scratch);
  const { kernels, places, positions, cross } = scratch;
  for (const [i, index] of chosen.entries()) {
    const [x0, y0] = tileOrigin(reference, index);
    const [movingX, movingY] = toMoving(x0 + (tile - 1) / 2, y0 + (tile - 1) / 2);
    // Within the tile the moving band is only shifted: scale and roll between near frames displace its edges against
    // its centre by a few hundredths of a pixel, in opposite directions, and with one fraction the filter is separable.
    places[(placeBytes / 4) * i] = x0;
    places[(placeBytes / 4) * i + 1] = y0;
    positions[(placeBytes / 8) * i + 1] = movingX - (tile - 1) / 2;
    positions[(placeBytes / 8) * i + 2] = movingY - (tile - 1) / 2;
  }
  kernels.crossTiles({
    reference: reference.pointer,
    moving: moving.pointer,
    stride,
    size: tile,
    slant: slantFactor,
    places: scratch.placesPointer,
    count: chosen.length,
    scratch: scratch.rowsPointer,
    out: scratch.crossPointer,
  });
  for (const [i, index] of chosen.entries()) {
    const at = index * momentCount;
    const crossAt = i * crossCount;
    const step = solveTile(reference.tileMoments, at, cross, crossAt, tile * tile);
    if (!step || step.explained < minExplained) continue;
    if (step.dx * step.dx + step.dy * step.dy > maxStepPx * maxStepPx) continue;
    const k = tiles.count++;
    tiles.u[k] = (places[(placeBytes / 4) * i] + tile / 2) * pitch - halfX;
    tiles.v[k] = (places[(placeBytes / 4) * i + 1] + tile / 2) * pitch - halfY;
    tiles.foundU[k] = (positions[(placeBytes / 8) * i + 1] + step.dx + tile / 2) * pitch - halfX;
    tiles.foundV[k] = (positions[(placeBytes / 8) * i + 2] + step.dy + tile / 2) * pitch - halfY;
    tiles.slopeU[k] = step.slopeX * pitch;
    tiles.slopeV[k] = step.slopeY * pitch;
    tiles.level[k] = n;
    const here = Math.max(0, reference.tileEnergy[index] - reference.noiseEnergy);
    const there = Math.max(0, cross[crossAt + crossCount - 1] / (tile * tile) - moving.noiseEnergy);
    tiles.energy[k] = Math.sqrt(here * there);
    storeInformation(tiles, k, step, reference.tileMoments[at + momentCount - 1], n, pitch);
  }
  return tiles;
}

/** Measures the moments of tiles where that is not done yet: once for all pairs of the frame. */
function measureMoments(
  level: BandLevel,
  chosen: readonly number[],
  { kernels, places, placesPointer }: TileScratch,
): void {
  let count = 0;
  for (const index of chosen) {
    if (level.hasMoments[index]) continue;
    level.hasMoments[index] = 1;
    places.set([...tileOrigin(level, index), index], (placeBytes / 4) * count++);
  }
  const { pointer: band, stride, tile: size, momentPointer: moments } = level;
  kernels.momentTiles({ band, stride, size, slant: slantFactor, places: placesPointer, count, moments });
}

/** Tiles that their fit does not reject. */
function countAgreeing({ count, weight }: Correspondences): number {
  return weight.subarray(0, count).filter((value) => value > 0).length;
}

function fitLevels(
  votes: readonly Correspondences[],
  radiusPx: number,
  shiftOnly: boolean,
  fallback: CentredMotion,
): PairMeasurement {
  const tiles = joinLevels(votes);
  if (tiles.count < 4) {
    return { motion: fallback, information: new Float64Array(16), reliable: false, tiles };
  }
  const fit = fitMotion(tiles, { radiusPx, shiftOnly });
  // A tile gives two values, and the motion takes four of them: the others confirm it.
  const confirming = 2 * countAgreeing(tiles) - motionParameters;
  return { ...fit, reliable: confirming >= minSample, tiles };
}

function joinLevels(votes: readonly Correspondences[]): Correspondences {
  const all = createCorrespondences(votes.reduce((sum, { count }) => sum + count, 0));
  for (const tiles of votes) {
    for (const key of tileColumns) all[key].set(tiles[key].subarray(0, tiles.count), all.count);
    all.count += tiles.count;
  }
  return all;
}
