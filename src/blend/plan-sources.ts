import { statePlane } from '../focus/focus-curves.js';
import { frameBytes, frameTable } from '../image/frame-reach.js';
import type { Size } from '../image/image.js';
import { levelSizes } from '../image/level-sizes.js';
import type { Matrix3 } from '../image/transform.js';
import { type Arena, type Planes, planeOf, type Rows } from '../kernels/arena.js';
import { stripRows } from '../kernels/row-windows.js';
import { frontBlurPx, nearBlurPx } from '../model/constants/blend.js';
import { apartUnits } from '../model/constants/model.js';
import { tileColumns } from '../model/constants/state.js';
import { fullWeight } from '../model/constants/surface.js';
import type { SourceRule } from '../options/source-rule.js';
import { fractionBitsFor, needsFrontLayerPlane, storedLength } from '../surface/depth-index.js';
import type { Surface } from '../surface/surface.js';
import type { StripPool } from '../workers/pool.js';

/** Rows of a tile of the finest level. */
export const tileRows = stripRows;
/** Farther apart than any stack is long, stored units. */
const never = 1 << 20;
const ruleNumbers: Record<SourceRule, number> = { auto: 0, select: 1, weigh: 2 };

/**
 * Where each coefficient of a level comes from: `centre` in frame ordinals of `fractionBits`, `reach` in its low six bits
 * in 1/16 frame, in its high ten the ordinal of a frame that is added, 0 = none; in a second plane of `reach` where ten
 * bits are too few. See assembly/blend.ts. Planes of one u16 element per pixel of the level, in the arena.
 */
export interface LevelPlan {
  centre: Planes;
  reach: Planes;
}

export interface SourcePlan {
  /** Finest first. */
  levels: readonly LevelPlan[];
  /** Ordinal of the frame that supplies the finest detail, u16, rows tight; 0 = none. */
  sources: Rows;
  /**
   * Address of one bit a tile of the finest level and frame: has the frame any weight there? Bit = ordinal. Each memory knows
   * its own tiles.
   */
  uses: number;
  /** Bytes a tile of `uses`, tiles row by row. */
  usesBytes: number;
  /** Of the centres. */
  fractionBits: number;
}

/**
 * The numbers of a plan that follow from the stack, in stored units: the same for the processor and a device.
 *
 * @param unit A step of the usual length, frames.
 */
export function planNumbers(
  unit: number,
  fractionBits: number,
  frames: number,
  rule: SourceRule,
  blurPx: number | undefined,
) {
  // Two frames are too few for a focus curve: a depth between them would blend the sharp one with the other.
  const planned = rule === 'auto' && frames === 2 ? 'select' : rule;
  return {
    rule: ruleNumbers[planned],
    sameIndex: storedLength(apartUnits * unit, fractionBits),
    nearApart: blurPx === undefined ? 0 : storedLength(nearBlurPx / blurPx, fractionBits),
    frontApart: (level: number) =>
      blurPx === undefined
        ? never
        : storedLength(Math.max(2, (frontBlurPx * 2 ** level) / blurPx), fractionBits),
  };
}

/** Bytes from a level's reaches to the ordinals of the frames that are added; 0 = they lie within the reaches. */
export function frontLayerBytes({ reach }: LevelPlan): number {
  return reach.planes > 1 ? reach.planeBytes : 0;
}

/** Bytes of scratch that a worker needs to plan a stack of so many frames. */
export function planScratchBytes(frames: number): number {
  return frames * 8 + 128;
}

/** Room for the plan of every level, in the arena. */
export function takePlan(arena: Arena, size: Size, frames: number): SourcePlan {
  const fractionBits = fractionBitsFor(frames);
  const { bands } = arena;
  const levels = levelSizes(size).map(({ width, height }, level) => {
    const window = bands.composite(level, height, 0);
    const reachPlanes = needsFrontLayerPlane(fractionBits) ? 2 : 1;
    return {
      centre: arena.takePlanes(width, height, 1, 2, window),
      reach: arena.takePlanes(width, height, reachPlanes, 2, window),
    };
  });
  const usesBytes = (frames + 8) >> 3;
  const tiles = Math.ceil(size.width / tileColumns) * Math.ceil(size.height / tileRows);
  return {
    levels,
    sources: arena.takeRows(size.width * 2, bands.composite(0, size.height, 0)),
    uses: arena.take(tiles * usesBytes),
    usesBytes,
    fractionBits,
  };
}

/**
 * Decides for each coefficient of each level which frames it comes from.
 *
 * `weigh`: frames around the surface. `select`: at the followed levels the frame of the largest measure, at
 * coarser ones the surface. `auto`: the surface, but at the followed levels their own peak where it stands out
 * clearly and means something else than the surface: a bristle in front of an eye. Where what is behind shows as much
 * detail as the bristle, the bristle's is laid over it. Of two frames alone `auto` takes the sharper, as `select` does.
 *
 * @param toFrame Composite pixel to frame pixel, by ordinal - 1.
 * @param nearSign Which way along the stack is nearer: 1 lower ordinals, -1 higher ones, 0 unknown.
 * @param blurPx Radius of the blur one frame away (see `measureBlur`); undefined: nothing is laid over the rest.
 */
export async function planSources(
  arena: Arena,
  pool: StripPool,
  plan: SourcePlan,
  surface: Surface,
  toFrame: readonly Matrix3[],
  frame: Size,
  rule: SourceRule,
  nearSign: -1 | 0 | 1,
  blurPx: number | undefined,
): Promise<void> {
  const mark = arena.mark();
  const full = plan.levels[0].centre;
  const tiles = Math.ceil(full.width / tileColumns) * Math.ceil(full.height / tileRows);
  arena.fill(plan.uses, tiles * plan.usesBytes, 0);
  const frames = arena.take(toFrame.length * frameBytes);
  const { fractionBits } = plan;
  const numbers = planNumbers(surface.unit, fractionBits, toFrame.length, rule, blurPx);
  const { sameIndex, nearApart } = numbers;
  let medians = surface.depthIndices;
  for (const [level, { centre, reach }] of plan.levels.entries()) {
    const { width, height, stride } = centre;
    const strips = Math.ceil(height / tileRows);
    const peaks: Planes | undefined = surface.peaks[level];
    let depthIndices = surface.depthIndices;
    if (level > 0) {
      const window = arena.bands.composite(level, height, 1);
      const median = arena.takePlanes(width, height, 1, 2, window);
      depthIndices = nearSign !== 0 ? arena.takePlanes(width, height, 1, 2, window) : median;
      await pool.run(
        'halveIndicesStrip',
        {
          fine: medians,
          fineStride: medians.stride,
          fineWidth: medians.width,
          fineHeight: medians.height,
          median,
          near: depthIndices,
          stride: median.stride,
          width,
          height,
          nearSign,
          nearApart,
          stripRows: tileRows,
        },
        strips,
      );
      medians = median;
    }
    arena.put(frames, Float64Array.from(frameTable(toFrame, level)));
    await pool.run(
      'planStrip',
      {
        depthIndices,
        indexStride: depthIndices.stride,
        fullIndices: peaks ? surface.depthIndices : 0,
        weights: surface.weights,
        weightStride: surface.weights.stride,
        fullWidth: full.width,
        fullHeight: full.height,
        fullWeight,
        fullFronts: peaks ? frontsOf(surface.peaks[0]) : 0,
        fullPeakStride: surface.peaks[0].stride,
        peaks: peaks ?? 0,
        peakBytes: peaks?.planeBytes ?? 0,
        peakStride: peaks?.stride ?? 0,
        fronts: peaks ? frontsOf(peaks) : 0,
        frontApart: numbers.frontApart(level),
        sameIndex,
        nearSign,
        centres: centre,
        reaches: reach,
        frontBytes: frontLayerBytes({ centre, reach }),
        stride,
        width,
        height,
        level,
        rule: numbers.rule,
        fractionBits,
        frames,
        count: toFrame.length,
        lastColumn: (frame.width - 1) / 2 ** level,
        lastRow: (frame.height - 1) / 2 ** level,
        sources: level === 0 ? plan.sources : 0,
        uses: level === 0 ? plan.uses : 0,
        usesBytes: plan.usesBytes,
        stripRows: tileRows,
      },
      strips,
    );
  }
  arena.release(mark);
}

/** Ordinals of what is thin and near: see assembly/peaks.ts. */
function frontsOf(peaks: Planes): Planes {
  return planeOf(peaks, statePlane.front);
}
