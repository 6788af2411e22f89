import { fineLevel, maxRimBlurPx, samePeak64ths } from '../model/constants/surface.js';
import { rimSamples, rimSpiral } from '../surface/false-rims.js';
import type { Gpu } from './device.js';
import { type GpuPlanes, type RowsOf, sameRows, wordsOf } from './planes.js';

/** What is the same for all levels. */
export interface RimSetting {
  frames: number;
  /** Radius of the blur one frame away, px: see `measureBlur`. */
  blurPx: number;
  fractionBits: number;
}

/**
 * Finds the peaks that are nothing but the blur of a strong edge and takes them from the coarse levels: the counterpart of
 * `dropFalseRims` in surface/false-rims.ts. Returns the marks of the finest of those levels, to be released; undefined where no
 * level is coarse enough to be deceived.
 */
export function dropFalseRims(
  gpu: Gpu,
  peaks: readonly GpuPlanes[],
  setting: RimSetting,
): GpuPlanes | undefined {
  // Every level is judged by whole peaks, so none is taken away before all are marked.
  const found = peaks
    .slice(fineLevel + 1)
    .map((_, i) => markFalseRims(gpu, peaks, fineLevel + 1 + i, fineLevel, setting));
  for (const [i, marks] of found.entries())
    dropUnder(gpu, peaks[fineLevel + 1 + i], marks, 0, setting.fractionBits);
  gpu.release(...found.slice(1));
  return found[0];
}

/** Takes from level 1 and from level 0 the peaks that are false rims by what level 0 shows. */
export function dropFineRims(gpu: Gpu, peaks: readonly GpuPlanes[], setting: RimSetting): void {
  const marks = markFalseRims(gpu, peaks, fineLevel, 0, setting);
  dropUnder(gpu, peaks[0], marks, fineLevel, setting.fractionBits);
  dropUnder(gpu, peaks[fineLevel], marks, 0, setting.fractionBits);
  gpu.release(marks);
}

/** Marks of one level, by the detail of a finer one: see wgsl/markFalseRims.wgsl. */
export function markFalseRims(
  gpu: Gpu,
  peaks: readonly GpuPlanes[],
  level: number,
  finer: number,
  { frames, blurPx, fractionBits }: RimSetting,
): GpuPlanes {
  const here = peaks[level];
  const pitch = 2 ** level;
  const fineShift = level - finer;
  const marks = gpu.takePlanes(here.width, here.height, 1, 2);
  const spiral = gpu.takeTable(rimSpiral());
  gpu.run(
    'markFalseRims',
    {
      pitch,
      fineShift,
      blurPx,
      frames,
      samples: rimSamples,
      widestPx: maxRimBlurPx,
      fractionBits,
    },
    {
      peaks: { set: here, rows: sameRows(Math.ceil(maxRimBlurPx / pitch) + 1) },
      fine: { set: peaks[finer], rows: finerBy(fineShift) },
      marks,
      spiral,
    },
    { width: wordsOf(here.width), height: here.height },
  );
  gpu.release(spiral);
  return marks;
}

/** Takes from a finer level the peaks that are the false rims of the coarser one, which is 2^shift times smaller. */
export function dropUnder(
  gpu: Gpu,
  peaks: GpuPlanes,
  marks: GpuPlanes,
  shift: number,
  fractionBits: number,
): void {
  gpu.run(
    'dropFalseRims',
    { shift, apart: samePeak64ths >> (6 - fractionBits) },
    { peaks, marks: { set: marks, rows: coarserBy(shift) } },
    { width: wordsOf(peaks.width), height: peaks.height },
  );
}

/** Rows of a set that is 2^shift times higher. */
export function finerBy(shift: number): RowsOf {
  return (from, to) => [from << shift, to << shift];
}

/** Rows of a set that is 2^shift times lower, and what belongs to `halo` rows to either side. */
export function coarserBy(shift: number, halo = 0): RowsOf {
  return (from, to) => [(from - halo) >> shift, ((to - 1 + halo) >> shift) + 1];
}
