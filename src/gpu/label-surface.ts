import { apartUnits, sameUnits } from '../model/constants/model.js';
import { aroundRadius, backRadius, supportReach } from '../model/constants/surface.js';
import type { Gpu } from './device.js';
import { coarserBy } from './false-rims.js';
import { noRows } from './plan.js';
import { coarserRows, type GpuPlanes, type RowWindow, sameRows, wordsOf } from './planes.js';

// Which surface each pixel shows: see kernels/assembly/candidates.ts. `state`: the peaks of each level, finest first.

export interface SurfaceSetting {
  frames: number;
  /** 1 when nearer means a lower ordinal, -1 when higher, 0 when unknown. */
  nearSign: number;
  /** Frames that count as one step: see `frameUnit`. */
  unit: number;
  fractionBits: number;
}

/** A length in units, in whole stored units, as the processor's kernels round it. */
export function storedUnits(units: number, setting: Pick<SurfaceSetting, 'unit' | 'fractionBits'>): number {
  return Math.trunc(exactUnits(units, setting));
}

function exactUnits(
  units: number,
  { unit, fractionBits }: Pick<SurfaceSetting, 'unit' | 'fractionBits'>,
): number {
  return Math.fround(Math.fround(units) * Math.fround(unit)) * 2 ** fractionBits;
}

/** Rows of a coarser level; where there is none, `other` is bound and not read. */
function levelOf(state: readonly GpuPlanes[], level: number, other: GpuPlanes, halo = 0): RowWindow {
  return level < state.length
    ? { set: state[level], rows: coarserBy(level, halo) }
    : { set: other, rows: noRows };
}

/** Supports of the candidates of each pixel, a word each. */
export function gatherSupports(
  gpu: Gpu,
  state: readonly GpuPlanes[],
  supports: GpuPlanes,
  setting: SurfaceSetting,
): void {
  const [full] = state;
  gpu.run(
    'gather',
    { count: state.length, same: storedUnits(apartUnits, setting) },
    { state: full, coarse: levelOf(state, 1, full), supports },
    full,
  );
}

/** One pass over the supports, with holes of `hole` pixels between its taps. */
export function averageSupports(
  gpu: Gpu,
  state: readonly GpuPlanes[],
  supports: GpuPlanes,
  averaged: GpuPlanes,
  hole: number,
  setting: SurfaceSetting,
): void {
  const [full] = state;
  gpu.run(
    'aggregate',
    { count: state.length, hole, reach: storedUnits(supportReach, setting) },
    {
      state: { set: full, rows: sameRows(hole) },
      coarse: levelOf(state, 1, full, hole),
      supports: { set: supports, rows: sameRows(hole) },
      averaged,
    },
    full,
  );
}

/** Label of each pixel, a word each: see wgsl/label.wgsl. */
export function labelPixels(
  gpu: Gpu,
  state: readonly GpuPlanes[],
  supports: GpuPlanes,
  labels: GpuPlanes,
  setting: SurfaceSetting,
): void {
  const [full, , third] = state;
  const levels = state.length;
  const indices = third && gpu.takePlanes(third.width, third.height, 1, 2);
  if (indices) {
    gpu.run(
      'coarseIndices',
      { levels, apart: storedUnits(apartUnits, setting) },
      {
        state: { set: third, rows: sameRows(aroundRadius) },
        coarse:
          levels > 3 ? { set: state[3], rows: coarserRows(aroundRadius) } : { set: third, rows: noRows },
        indices,
      },
      { width: wordsOf(third.width), height: third.height },
    );
  }
  gpu.run(
    'label',
    { count: levels },
    {
      state: full,
      coarse: levelOf(state, 1, full),
      coarseIndices: indices ? { set: indices, rows: coarserBy(2) } : { set: full, rows: noRows },
      supports,
      labels,
    },
    full,
  );
  if (indices) gpu.release(indices);
}

/**
 * The surface of each pixel, in the place of the supports: the depth index in the low half of a word, its weight in the high
 * half. Gaps and certainties go to planes 9 and 10 of level 0, and the peak that the surface goes through to planes 0 and 1.
 *
 * @param surface Supports.
 * @param known A number to which that of the pixels with any weight is added.
 */
export function decideSurface(
  gpu: Gpu,
  state: readonly GpuPlanes[],
  labels: GpuPlanes,
  surface: GpuPlanes,
  known: GPUBuffer,
  setting: SurfaceSetting,
): void {
  const [full] = state;
  const { frames, nearSign, fractionBits } = setting;
  const pairs = { width: wordsOf(full.width), height: full.height };
  const decided = gpu.takePlanes(full.width, full.height, 1, 2);
  const same = storedUnits(sameUnits, setting);
  gpu.run(
    'decide',
    { levels: state.length, nearSign, same },
    {
      state: { set: full, rows: sameRows(backRadius) },
      level1: levelOf(state, 1, labels, backRadius),
      level2: levelOf(state, 2, labels, backRadius),
      labels: { set: labels, rows: sameRows(backRadius) },
      supports: surface,
      decided,
    },
    pairs,
  );
  gpu.run(
    'storeSurface',
    { levels: state.length, frames, fractionBits, same, refined: exactUnits(sameUnits, setting) },
    {
      state: full,
      level1: levelOf(state, 1, labels),
      level2: levelOf(state, 2, labels),
      level3: levelOf(state, 3, labels),
      decided,
      surface,
      known,
    },
    pairs,
  );
  gpu.release(decided);
}
