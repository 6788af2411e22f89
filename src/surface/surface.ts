import { type CurveBends, statePlane } from '../focus/focus-curves.js';
import type { FocusTracker } from '../focus/focus-tracker.js';
import { frameBytes, frameTable } from '../image/frame-reach.js';
import type { Size } from '../image/image.js';
import type { Matrix3 } from '../image/transform.js';
import { type Arena, type LevelTable, type Planes, planeOf } from '../kernels/arena.js';
import { stripRows } from '../kernels/row-windows.js';
import { windowSamples } from '../model/constants/focus.js';
import { maxUnit, minLongStep, sameUnits, usualWidth } from '../model/constants/model.js';
import { aggregateHoles, fineLevel, fullWeight, smoothHoles } from '../model/constants/surface.js';
import type { StripPool } from '../workers/pool.js';
import { fractionBitsFor } from './depth-index.js';
import { dropFalseRims, dropFineRims, dropUnder, type FalseRims } from './false-rims.js';
import { planeReach } from './plane-reach.js';

/** The shape of the subject as one function of the pixel, in planes of the focus tracker's state that have served. */
export interface Surface {
  /** Stored depth indices: where along the stack a pixel is sharp, see depth-index.ts. Level 0, one plane. */
  depthIndices: Planes;
  /** Stored weights of the depth indices, `fullWeight` and more = sure. Level 0, one plane. */
  weights: Planes;
  /** Not 0 where the steps between frames are too coarse to reach the peak. Level 0, one plane. */
  gaps: Planes;
  /** How sure it is which of its peaks a pixel shows, 0 to 255. Level 0, one plane. */
  certainties: Planes;
  /** Part of each step, by the index of the frame before it, that either of its frames shows sharp; 0 for a plain step. */
  reaches: readonly number[];
  /**
   * Peaks of each followed level, finest first: planes 0 rise, 1 depth index, 6 ordinal of the best frame, and 8 the ordinal of
   * something thin before the rest.
   */
  peaks: readonly Planes[];
  /** Share of pixels with any detail above noise. */
  detailShare: number;
  /** Frames that count as one step: see `frameUnit`. */
  unit: number;
  /** Of stored depth indices. */
  fractionBits: number;
}

/**
 * Frames that span what is one step where frames lie as far apart as is usual, 1 to 2: where they lie closer, curves are
 * wider in frames, and so are the errors of their peaks.
 *
 * @param focusWidth Half width of the usual focus curve, steps; undefined: not known.
 */
export function frameUnit(focusWidth: number | undefined): number {
  return focusWidth === undefined ? 1 : Math.min(maxUnit, Math.max(1, focusWidth / usualWidth));
}

/** Where the frames lie. */
export interface FrameBounds {
  /** Composite pixel to frame pixel, by ordinal - 1. */
  toFrame: readonly Matrix3[];
  /** Of every frame. */
  frame: Size;
}

/** Wider than the margin of a measured frame (`FocusTracker`), pixels of the level: there all were measured for certain. */
export const measuredMargin = 3;

const errorSteps = 512;

/**
 * The surface from the focus curves that `tracker` followed; their state is overwritten.
 *
 * @param bounds Frames in use.
 * @param nearSign 1 when nearer means a lower ordinal, -1 when higher, 0 when unknown.
 * @param steps Distance of each frame but the last to the next, in usual steps.
 * @param blurPx Radius of the blur one frame away (see `measureBlur`); undefined: the blur of edges is not told from detail.
 * @param unit Frames that count as one step: see `frameUnit`.
 */
export async function findSurface(
  arena: Arena,
  pool: StripPool,
  tracker: FocusTracker,
  { toFrame, frame }: FrameBounds,
  nearSign: -1 | 0 | 1,
  steps: readonly number[],
  blurPx: number | undefined,
  unit: number,
): Promise<Surface> {
  const { state } = tracker;
  const frames = toFrame.length;
  const [full] = state;
  const { width, height, stride } = full;
  const strips = Math.ceil(height / stripRows);
  const fractionBits = fractionBitsFor(frames);
  const mark = arena.mark();
  const levels = arena.takeLevels(state);
  const errors = arena.takeTable(relativeErrors());
  const noise = arena.take(64);
  const distances = arena.takeTable(Float32Array.from(stepTable(steps)));
  const bounds = arena.take(frames * frameBytes);

  const reach = longStepReach(tracker, steps);

  let falseRims: FalseRims | undefined;
  for (let level = state.length - 1; level >= 0; level--) {
    const strips = Math.ceil(state[level].height / stripRows);
    arena.put(bounds, Float64Array.from(frameTable(toFrame, level, () => measuredMargin)));
    await pool.run(
      'markTruncatedStrip',
      {
        levels,
        level,
        width: state[level].width,
        height: state[level].height,
        frames: bounds,
        count: frames,
        lastColumn: (frame.width - 1) / 2 ** level,
        lastRow: (frame.height - 1) / 2 ** level,
        stripRows,
      },
      strips,
    );
    arena.put(noise, Int32Array.from(tracker.noiseCodes(level)));
    await pool.run(
      'peakStrip',
      {
        levels,
        level,
        width: state[level].width,
        height: state[level].height,
        tones: planeOf(full, statePlane.tones),
        toneStride: stride,
        fullWidth: width,
        fullHeight: height,
        noise,
        errors,
        nearSign,
        steps: distances,
        unit,
        fractionBits,
        stripRows,
      },
      strips,
    );
    if (level === fineLevel && blurPx !== undefined) {
      falseRims = await dropFalseRims(arena, pool, state, frames, blurPx, fractionBits);
    }
    if (falseRims) {
      const coarse = fineLevel + 1;
      await dropUnder(pool, state[level], falseRims, state[coarse], coarse - level, fractionBits);
    }
  }

  if (blurPx !== undefined && state.length > fineLevel) {
    await dropFineRims(arena, pool, state, frames, blurPx, fractionBits);
  }

  await markLeaks(pool, tracker, levels, unit, fractionBits);
  await labelSurface(pool, tracker, levels, frames, nearSign, unit, fractionBits);
  const detailShare = shareKnown(arena, planeOf(full, 7));

  let [from, to] = [
    { depthIndices: planeOf(full, 5), weights: planeOf(full, 7) },
    { depthIndices: planeOf(full, 3), weights: planeOf(full, 4) },
  ];
  for (const step of smoothHoles) {
    await pool.run(
      'smoothStrip',
      {
        depthIndices: from.depthIndices,
        weights: from.weights,
        outIndices: to.depthIndices,
        outWeights: to.weights,
        stride,
        width,
        height,
        step,
        tolerance: sameUnits * unit,
        fractionBits,
        stripRows,
      },
      strips,
    );
    [from, to] = [to, from];
  }
  await fillUnknown(arena, pool, from);
  arena.release(mark);
  return {
    ...from,
    gaps: planeOf(full, 9),
    certainties: planeOf(full, 10),
    reaches: stepReaches(steps, reach),
    peaks: state,
    detailShare,
    unit,
    fractionBits,
  };
}

/** Steps by the ordinal of the frame before them, as `peakStrip` takes them. */
export function stepTable(steps: readonly number[]): number[] {
  return [1, ...steps, 1];
}

const isLong = (step: number) => step >= minLongStep;

/** How far from a frame's plane of focus it counts as sharp in long steps, usual steps; 0 where no step is long. */
export function longStepReach(curves: CurveBends, steps: readonly number[]): number {
  return steps.some(isLong) ? planeReach(curves, steps, minLongStep) : 0;
}

/** The same as a part of each step; 0 for a plain one. */
export function stepReaches(steps: readonly number[], reach: number): number[] {
  return steps.map((step) => (isLong(step) ? reach / step : 0));
}

/** Marks the peaks of coarse levels that are the detail of something beside: see assembly/window-leaks.ts. */
async function markLeaks(
  pool: StripPool,
  { state }: FocusTracker,
  levels: LevelTable,
  unit: number,
  fractionBits: number,
): Promise<void> {
  for (let level = 1; level < state.length; level++) {
    const { width, height } = state[level];
    const { width: fineWidth, height: fineHeight } = state[level - 1];
    await pool.run(
      'markLeaksStrip',
      { levels, level, width, height, fineWidth, fineHeight, unit, fractionBits, stripRows },
      Math.ceil(height / stripRows),
    );
  }
}

/** The surface of each pixel, in planes 5, 7, 9 and 10 of level 0: see assembly/candidates.ts. */
async function labelSurface(
  pool: StripPool,
  { state, work }: FocusTracker,
  levels: LevelTable,
  frames: number,
  nearSign: -1 | 0 | 1,
  unit: number,
  fractionBits: number,
): Promise<void> {
  const [full] = state;
  const { width, height, stride } = full;
  const strips = Math.ceil(height / stripRows);
  const common = { levels, width, height, unit, fractionBits, stripRows };
  const count = state.length;
  const supports = wordsOver(planeOf(full, 3));
  const others = wordsOver(work);
  await pool.run('gatherStrip', { ...common, count, supports, supportStride: stride }, strips);
  let [from, to] = [supports, others];
  for (const hole of aggregateHoles) {
    await pool.run(
      'aggregateStrip',
      { ...common, count, supports: from, out: to, supportStride: stride, hole },
      strips,
    );
    [from, to] = [to, from];
  }
  const [labels, tones] = [planeOf(work, 0), planeOf(work, 1)];
  const found = { ...common, count, supports, supportStride: stride, labels, tones, labelStride: stride };
  await pool.run('labelStrip', found, strips);
  await pool.run('decideStrip', { ...found, frames, nearSign }, strips);
}

/** Four bytes a pixel over two planes of two, half a row's end further in. */
function wordsOver(planes: Planes): Planes {
  const { pointer, rowBytes, endBytes, planeBytes } = planes;
  return {
    ...planes,
    pointer: pointer + endBytes,
    rowBytes: 2 * rowBytes,
    endBytes: 2 * endBytes,
    planeBytes: 2 * planeBytes,
    planes: 1,
    elementBytes: 4,
  };
}

/** Error of an energy that stands 1/16 octave a step over noise, octaves. */
export function relativeErrors(): Float32Array {
  return Float32Array.from({ length: errorSteps }, (_, step) => {
    // Relative error of an energy S + N over n samples is about sqrt(4 S N + 2 N^2) / (S + N) / sqrt(n).
    const ratio = 2 ** ((step + 0.5) / 16) - 1;
    const relative = Math.sqrt((4 * ratio + 2) / windowSamples) / (ratio + 1);
    return relative * Math.LOG2E * Math.SQRT1_2;
  });
}

function shareKnown(arena: Arena, weights: Planes): number {
  const { width, height } = weights;
  let known = 0;
  for (let y = 0; y < height; y++) {
    const values = arena.rowU16(weights, y);
    for (let x = 0; x < width; x++) if (values[x] > 0) known++;
  }
  return known / (width * height);
}

interface Level {
  depthIndices: Planes;
  weights: Planes;
}

/** A map of depth indices as push and pull take it: the finest holds weights, the others confidence. */
function mapArguments({ depthIndices, weights }: Level, level: number) {
  return {
    depthIndices,
    weights,
    stride: depthIndices.stride,
    width: depthIndices.width,
    height: depthIndices.height,
    fullWeight: level === 0 ? fullWeight : 0,
  };
}

/** Gives every pixel a depth index: pushed to ever coarser maps, then pulled back; in place. */
async function fillUnknown(arena: Arena, pool: StripPool, finest: Level): Promise<void> {
  const { width, height } = finest.depthIndices;
  const levels: Level[] = [finest];
  for (let side = Math.max(width, height), w = width, h = height; side > 1; side = (side + 1) >> 1) {
    w = (w + 1) >> 1;
    h = (h + 1) >> 1;
    const window = arena.bands.composite(levels.length, h, 1);
    levels.push({
      depthIndices: arena.takePlanes(w, h, 1, 2, window),
      weights: arena.takePlanes(w, h, 1, 2, window),
    });
  }
  for (let level = 0; level + 1 < levels.length; level++) {
    const next = levels[level + 1];
    await pool.run(
      'pushStrip',
      {
        ...mapArguments(levels[level], level),
        outIndices: next.depthIndices,
        outWeights: next.weights,
        outStride: next.depthIndices.stride,
        outWidth: next.depthIndices.width,
        outHeight: next.depthIndices.height,
        stripRows,
      },
      Math.ceil(next.depthIndices.height / stripRows),
    );
  }
  for (let level = levels.length - 2; level >= 0; level--) {
    const { depthIndices } = levels[level + 1];
    await pool.run(
      'pullStrip',
      {
        ...mapArguments(levels[level], level),
        coarse: depthIndices,
        coarseStride: depthIndices.stride,
        coarseWidth: depthIndices.width,
        coarseHeight: depthIndices.height,
        stripRows,
      },
      Math.ceil(levels[level].depthIndices.height / stripRows),
    );
  }
}

/** What the result folder says of the surface, rows tight, copied out of the arena. */
export interface SurfaceMaps {
  /** Stored depth indices, of `fractionBits`: see depth-index.ts. */
  depthIndices: Uint16Array;
  fractionBits: number;
  /** 0 to 255: how much the focus curve stands out from noise and from rival peaks. */
  confidence: Uint8Array;
  /** Index into the coverage classes of the result folder. */
  coverage: Uint8Array;
}

/** Parts of the steps by the ordinal of the frame before them, as `judgeStrip` takes them. */
export function reachTable(reaches: readonly number[]): number[] {
  return [0, ...reaches.map((part) => Math.round(64 * part)), 0];
}

/** @param bounds Frames in use. */
export async function readSurface(
  arena: Arena,
  pool: StripPool,
  { depthIndices, weights, gaps, certainties, reaches, fractionBits }: Surface,
  { toFrame, frame }: FrameBounds,
): Promise<SurfaceMaps> {
  const { width, height, stride } = depthIndices;
  const mark = arena.mark();
  const window = arena.bands.composite(0, height, 0);
  const confidence = arena.takeRows(width, window);
  const coverage = arena.takeRows(width, window);
  const frames = toFrame.length;
  const parts = Int32Array.from(reachTable(reaches));
  const table = arena.takeTable(parts);
  const bounds = arena.takeTable(Float64Array.from(frameTable(toFrame, 0)));
  await pool.run(
    'judgeStrip',
    {
      depthIndices,
      weights,
      gaps,
      certainties,
      stride,
      width,
      height,
      fullWeight,
      count: frames,
      reaches: table,
      hasLongStep: parts.some((part) => part > 0) ? 1 : 0,
      fractionBits,
      frames: bounds,
      lastColumn: frame.width - 1,
      lastRow: frame.height - 1,
      confidence,
      coverage,
      stripRows,
    },
    Math.ceil(height / stripRows),
  );
  const tight = new Uint16Array(width * height);
  for (let y = 0; y < height; y++) {
    tight.set(arena.rowU16(depthIndices, y).subarray(0, width), y * width);
  }
  const maps = {
    depthIndices: tight,
    fractionBits,
    confidence: arena.gather(confidence),
    coverage: arena.gather(coverage),
  };
  arena.release(mark);
  return maps;
}
