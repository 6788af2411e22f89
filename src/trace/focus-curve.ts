import { levelSizes } from '../image/level-sizes.js';
import { applyMatrix } from '../image/transform.js';
import type { Planes } from '../kernels/arena.js';
import { codesPerOctave } from '../model/constants/state.js';
import { frameFootprint } from './aligned-region.js';
import { type FramePatch, readFrameRegion } from './frame-region.js';
import { type LocalKernels, stripRows } from './local-kernels.js';
import type { PictureRegion } from './picture-region.js';
import type { StackFrame } from './stack-frames.js';

/** Levels at which a merge follows focus curves. */
export const curveLevels = 4;
/** Frame pixels around a region that the measure of the coarsest level reads; a multiple of its pixel. */
const measureMargin = 64;
/** Distance from a frame's edge at which a merge begins to count its measure, pixels of the level. */
const edgeMargin = 2;
/** Points at which a region is sampled, at most: more do not change its mean. */
const maxSamples = 40_000;

/** Mean focus measure of a region in one frame by level, finest first; NaN where the frame does not cover it. */
export type RegionMeasure = number[];

/**
 * The focus measure of a merge (assembly/focus.ts: squared modified Laplacian of luma after Nayar & Nakagawa, PAMI
 * 16(8), 1994, windowed) in one frame, averaged over a region of the composite. It is measured in the frame's
 * own pixels, before resampling, as the merge does; unit: squared levels of 8 bits.
 */
export async function measureRegion(
  kernels: LocalKernels,
  frame: StackFrame,
  path: string,
  region: PictureRegion,
): Promise<RegionMeasure> {
  const footprint = frameFootprint(frame.toFrame, region, frame.size, measureMargin);
  if (!footprint) return new Array<number>(curveLevels).fill(Number.NaN);
  // Starting on a multiple of the coarsest pixel keeps every level's grid that of the whole frame.
  const grid = 1 << (curveLevels - 1);
  const x = Math.floor(footprint.x / grid) * grid;
  const y = Math.floor(footprint.y / grid) * grid;
  const aligned = {
    x,
    y,
    width: footprint.x + footprint.width - x,
    height: footprint.y + footprint.height - y,
  };
  const patch = await readFrameRegion(frame, path, aligned);
  return kernels.within(() => {
    const levels = codesOfPatch(kernels, patch);
    return levels.map((planes, level) => meanMeasure(kernels, planes, level, patch, frame, region));
  });
}

/** Codes of the measure for each level of a patch, in the arena. */
function codesOfPatch(kernels: LocalKernels, patch: FramePatch): Planes[] {
  const { arena } = kernels;
  const { pixels, bits } = patch;
  const sizes = levelSizes(patch).slice(0, curveLevels);
  const source = arena.take(pixels.byteLength + 64);
  if (bits === 8) arena.u8(source, pixels.length).set(pixels);
  else arena.u16(source, pixels.length).set(pixels);
  const codes = sizes.map(({ width, height }) => arena.takePlanes(width, height, 1, 2));
  const lumaCodes = arena.takePlanes(patch.width, patch.height, 1, 2);
  const half = { width: (patch.width + 1) >> 1, height: (patch.height + 1) >> 1 };
  const luma = [half, ...sizes.slice(2)].map(({ width, height }) => arena.takePlanes(width, height, 1, 4));
  const scratch = arena.take((2 * stripRows + 20) * (patch.width + 64) * 4 + 4096);
  kernels.run(
    'focusFinestStrip',
    {
      source,
      bits,
      width: patch.width,
      height: patch.height,
      codes: codes[0].pointer,
      lumaOut: lumaCodes.pointer,
      codeStride: codes[0].stride,
      coarse: luma[0].pointer,
      coarseStride: luma[0].stride,
    },
    patch.height,
    scratch,
  );
  for (let level = 1; level < sizes.length; level++) {
    const here = luma[level - 1];
    const next = luma[level];
    kernels.run(
      'focusStrip',
      {
        luma: here.pointer,
        stride: here.stride,
        width: here.width,
        height: here.height,
        codes: codes[level].pointer,
        codeStride: codes[level].stride,
      },
      here.height,
      scratch,
    );
    if (!next) continue;
    const { pointer, stride, planeBytes, width, height } = here;
    kernels.run(
      'reduceStrip',
      {
        fine: pointer,
        stride,
        planeBytes,
        width,
        height,
        coarse: next.pointer,
        coarseStride: next.stride,
        coarsePlaneBytes: next.planeBytes,
        planes: 1,
      },
      next.height,
      scratch,
    );
  }
  return codes;
}

function meanMeasure(
  kernels: LocalKernels,
  planes: Planes,
  level: number,
  patch: FramePatch,
  frame: StackFrame,
  region: PictureRegion,
): number {
  const codes = kernels.arena.planeU16(planes);
  const unit = 1 << level;
  const step = Math.max(1, Math.ceil(Math.sqrt((region.width * region.height) / maxSamples)));
  const lastColumn = Math.floor((frame.size.width - 1) / unit) - edgeMargin;
  const lastRow = Math.floor((frame.size.height - 1) / unit) - edgeMargin;
  let sum = 0;
  let count = 0;
  for (let y = region.y; y < region.y + region.height; y += step) {
    for (let x = region.x; x < region.x + region.width; x += step) {
      const [u, v] = applyMatrix(frame.toFrame, x, y);
      const column = u / unit;
      const row = v / unit;
      if (column < edgeMargin || row < edgeMargin || column > lastColumn || row > lastRow) continue;
      const i = Math.min(planes.width - 2, Math.max(0, Math.floor(column - patch.x / unit)));
      const j = Math.min(planes.height - 2, Math.max(0, Math.floor(row - patch.y / unit)));
      const fu = Math.min(1, column - patch.x / unit - i);
      const fv = Math.min(1, row - patch.y / unit - j);
      const at = j * planes.stride + i;
      const top = codes[at] + (codes[at + 1] - codes[at]) * fu;
      const below = codes[at + planes.stride];
      const bottom = below + (codes[at + planes.stride + 1] - below) * fu;
      sum += measureOfCode(top + (bottom - top) * fv);
      count++;
    }
  }
  return count > 0 ? sum / count : Number.NaN;
}

/** Inverse of the code of assembly/focus.ts: 512 (log2(measure + 2^-20) + 20). */
export function measureOfCode(code: number): number {
  return Math.max(0, 2 ** (code / codesPerOctave - 20) - 2 ** -20);
}

/** Focus measure of the best frame over the lower quartile of all, from which a level counts as showing detail, octaves. */
const clearContrast = 2;

/**
 * The level by which a region is judged: the finest whose curve stands out, as in a merge; where none does, the
 * one that stands out most.
 */
export function clearestLevel(measures: readonly RegionMeasure[]): number {
  let best = 0;
  let bestContrast = 0;
  for (let level = 0; level < curveLevels; level++) {
    const known = measures.map((measure) => measure[level] ?? Number.NaN).filter((value) => value > 0);
    if (known.length < 2) continue;
    known.sort((first, second) => first - second);
    const contrast = Math.log2(known.at(-1)! / known[Math.floor(known.length / 4)]);
    if (contrast >= clearContrast) return level;
    if (contrast > bestContrast) {
      best = level;
      bestContrast = contrast;
    }
  }
  return best;
}
