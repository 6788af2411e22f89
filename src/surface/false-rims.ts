import { type Arena, type Planes, planeOf, type Rows } from '../kernels/arena.js';
import { stripRows } from '../kernels/row-windows.js';
import { fineLevel, maxRimBlurPx } from '../model/constants/surface.js';
import type { StripPool } from '../workers/pool.js';
import { spiralPoints } from './spiral.js';

/** Places about a pixel at which edges are looked for. */
export const rimSamples = 48;

/** Those places, as kernels take them. */
export function rimSpiral(): Float32Array {
  return spiralPoints(rimSamples, Math.sqrt);
}

/** What was found to be the blur of strong edges: marks of one level, u16, in rows like the level's peaks. */
export interface FalseRims {
  marks: Rows;
}

/**
 * Finds the peaks that are nothing but the blur of a strong edge (see assembly/false-rims.ts) and takes them from the
 * coarse levels. `peaks`: of all levels, finest first; those of `fineLevel` and coarser are ready. Undefined where no
 * level is coarse enough to be deceived.
 *
 * @param blurPx Radius of the blur one frame away: see `measureBlur`.
 */
export async function dropFalseRims(
  arena: Arena,
  pool: StripPool,
  peaks: readonly Planes[],
  frames: number,
  blurPx: number,
  fractionBits: number,
): Promise<FalseRims | undefined> {
  const coarse = [...peaks.entries()].slice(fineLevel + 1);
  if (coarse.length === 0) return undefined;
  const found: FalseRims[] = [];
  // Every level is judged by whole peaks, so none is taken away before all are marked.
  for (const [level] of coarse) {
    found.push(await markFalseRims(arena, pool, peaks, level, fineLevel, frames, blurPx, fractionBits));
  }
  for (const [i, [, here]] of coarse.entries()) await dropUnder(pool, here, found[i], here, 0, fractionBits);
  return found[0];
}

/**
 * Takes from level 1 and from level 0 the peaks that are false rims by what level 0 shows: near a strong edge its blur
 * leaves detail of level 1 as well. The peaks of both levels are ready.
 */
export async function dropFineRims(
  arena: Arena,
  pool: StripPool,
  peaks: readonly Planes[],
  frames: number,
  blurPx: number,
  fractionBits: number,
): Promise<void> {
  const [finest, here] = peaks;
  const rims = await markFalseRims(arena, pool, peaks, fineLevel, 0, frames, blurPx, fractionBits);
  await dropUnder(pool, finest, rims, here, fineLevel, fractionBits);
  await dropUnder(pool, here, rims, here, 0, fractionBits);
}

/** Marks the false rims of one level by the detail of a finer one. */
async function markFalseRims(
  arena: Arena,
  pool: StripPool,
  peaks: readonly Planes[],
  level: number,
  finer: number,
  frames: number,
  blurPx: number,
  fractionBits: number,
): Promise<FalseRims> {
  const [here, fine] = [peaks[level], peaks[finer]];
  const table = arena.takeTable(rimSpiral());
  const rims = { marks: arena.takeRows(here.rowBytes, here.window) };
  await pool.run(
    'markFalseRimsStrip',
    {
      ...peakPlanes(here),
      marks: rims.marks,
      pitch: 2 ** level,
      fine: planeOf(fine, 0),
      fineStride: fine.stride,
      fineShift: level - finer,
      fineWidth: fine.width,
      fineHeight: fine.height,
      blur: blurPx,
      frames,
      table,
      samples: rimSamples,
      widest: maxRimBlurPx,
      fractionBits,
      stripRows,
    },
    Math.ceil(here.height / stripRows),
  );
  return rims;
}

/** Takes from a finer level the peaks that are the false rims of the coarser one, which is 2^shift times smaller. */
export async function dropUnder(
  pool: StripPool,
  peaks: Planes,
  rims: FalseRims,
  coarse: Planes,
  shift: number,
  fractionBits: number,
): Promise<void> {
  await pool.run(
    'dropFalseRimsStrip',
    {
      ...peakPlanes(peaks),
      marks: rims.marks,
      markIndices: planeOf(coarse, 1),
      markStride: coarse.stride,
      shift,
      fractionBits,
      stripRows,
    },
    Math.ceil(peaks.height / stripRows),
  );
}

/** Addresses of the rises, depth indices and weights of a level's peaks, and how they lie. */
function peakPlanes(peaks: Planes) {
  const { stride, width, height } = peaks;
  const [rises, depthIndices, weights] = [0, 1, 2].map((plane) => planeOf(peaks, plane));
  return { rises, depthIndices, weights, stride, width, height };
}
