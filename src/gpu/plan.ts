import { planNumbers, tileRows } from '../blend/plan-sources.js';
import type { Size } from '../image/image.js';
import { levelSizes } from '../image/level-sizes.js';
import type { Matrix3 } from '../image/transform.js';
import { finestLevels } from '../model/constants/blend.js';
import { windowRadius } from '../model/constants/focus.js';
import { tileColumns } from '../model/constants/state.js';
import { fullWeight } from '../model/constants/surface.js';
import type { SourceRule } from '../options/source-rule.js';
import { fractionBitsFor, needsFrontLayerPlane } from '../surface/depth-index.js';
import type { Gpu } from './device.js';
import { takeSpans } from './frame-spans.js';
import { finerRows, type GpuPlanes, type RowsOf, wordsOf } from './planes.js';

/** What plan and spill take of a surface in the device's memory. */
export interface GpuPlannedSurface {
  /** A word a pixel: the stored depth index in the low, its weight in the high half. */
  surface: GpuPlanes;
  /** Peaks of the levels that are followed, finest first: the planes of the focus state. */
  peaks: readonly GpuPlanes[];
  /** A step of the usual length, frames. */
  unit: number;
}

/** Where each coefficient of a level comes from: see `LevelPlan` in blend/plan-sources.ts. */
export interface GpuLevelPlan {
  /** Centre, reach and, where ten bits are too few, front layers. 16-bit elements. */
  maps: GpuPlanes;
  /** Columns of each row that all frames reach, then those of each frame by ordinal: from and past the end, 32 bits. */
  spans: GpuPlanes;
}

/** The plan in the device's memory: see `SourcePlan` in blend/plan-sources.ts. */
export interface GpuSourcePlan {
  /** Finest first. */
  levels: readonly GpuLevelPlan[];
  /** Ordinal of the frame that supplies the finest detail, 16 bits; 0 = none. */
  sources: GpuPlanes;
  /** One bit a tile of the finest level and frame, `useWords` words a tile: has the frame any weight there? */
  uses: GPUBuffer;
  useWords: number;
  fractionBits: number;
}

/** Where no row of a set is read: something must be bound. */
export const noRows: RowsOf = () => [0, 1];

/**
 * Decides for each coefficient of each level which frames it comes from, as `planSources` of blend/plan-sources.ts; what
 * it decides is the same, whole number for whole number, where the surfaces are. Notes the work and does not wait for it.
 */
export function planGpuSources(
  gpu: Gpu,
  { surface, peaks, unit }: GpuPlannedSurface,
  toFrame: readonly Matrix3[],
  frame: Size,
  rule: SourceRule,
  nearSign: -1 | 0 | 1,
  blurPx: number | undefined,
): GpuSourcePlan {
  const size: Size = surface;
  const frames = toFrame.length;
  const fractionBits = fractionBitsFor(frames);
  const numbers = planNumbers(unit, fractionBits, frames, rule, blurPx);
  const levels = levelSizes(size).map((of, level) => ({
    maps: gpu.takePlanes(of.width, of.height, needsFrontLayerPlane(fractionBits) ? 3 : 2, 2),
    spans: takeSpans(gpu, toFrame, frame, of, level),
  }));
  const useWords = (frames + 32) >> 5;
  const tiles = Math.ceil(size.width / tileColumns) * Math.ceil(size.height / tileRows);
  const uses = gpu.takeTable(tiles * useWords * 4);
  const sources = gpu.takePlanes(size.width, size.height, 1, 2);
  const halved: GpuPlanes[] = [];
  for (const [level, { maps, spans }] of levels.entries()) {
    const { width, height } = maps;
    if (level > 0) {
      const out = gpu.takePlanes(width, height, 2, 4);
      gpu.run(
        'halveIndices',
        { nearSign, nearApart: numbers.nearApart },
        { fine: { set: halved.at(-1) ?? surface, rows: finerRows(1) }, out },
        out,
      );
      halved.push(out);
    }
    const hasPeaks = level < peaks.length;
    const around: RowsOf = (from, to) => [(from - windowRadius) << level, ((to + windowRadius) << level) + 1];
    const full = hasPeaks || level < finestLevels ? around : noRows;
    gpu.run(
      'plan',
      {
        surfacePlane: level > 0 ? 1 : 0,
        hasPeaks: Number(hasPeaks),
        fullWeight,
        frontApart: numbers.frontApart(level),
        sameIndex: numbers.sameIndex,
        nearSign,
        level,
        rule: numbers.rule,
        fractionBits,
        count: frames,
        useWords,
        tileRows,
      },
      {
        surface: halved.at(-1) ?? surface,
        full: { set: surface, rows: full },
        fronts: { set: peaks[0], rows: full },
        peaks: hasPeaks ? peaks[level] : { set: peaks[0], rows: noRows },
        spans,
        out: maps,
        sources: level === 0 ? sources : { set: sources, rows: noRows },
        uses,
      },
      { width: wordsOf(width), height },
    );
  }
  gpu.release(...halved);
  return { levels, sources, uses, useWords, fractionBits };
}
