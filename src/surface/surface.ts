import { type CurveBends, type CurveLevel, statePlane } from '../focus/focus-curves.js';
import type { FocusTracker } from '../focus/focus-tracker.js';
import { frameBytes, frameTable } from '../image/frame-reach.js';
import type { Size } from '../image/image.js';
import type { Matrix3 } from '../image/transform.js';
import { type Arena, addressIn, type LevelTable, type Planes, planeOf, type Rows } from '../kernels/arena.js';
import { directKernels } from '../kernels/direct-kernels.js';
import { stripRows } from '../kernels/row-windows.js';
import { windowSamples } from '../model/constants/focus.js';
import { gapFall, maxUnit, minLongStep, sameUnits, usualWidth } from '../model/constants/model.js';
import {
  aggregateHoles,
  fineLevel,
  fullWeight,
  halvedSurfacePixels,
  smoothHoles,
} from '../model/constants/surface.js';
import type { SourceRule } from '../options/source-rule.js';
import type { StripPool } from '../workers/pool.js';
import { fractionBitsFor, storedLength } from './depth-index.js';
import { dropFalseRims, dropFineRims, dropUnder, type FalseRims } from './false-rims.js';
import { leastDetail } from './least-detail.js';
import { planeReach } from './plane-reach.js';

/** The shape of the subject as one function of the pixel, in planes of the focus tracker's state that have served. */
export interface Surface {
  /** Stored depth indices: where along the stack a pixel is sharp, see depth-index.ts. Level 0, one plane. */
  depthIndices: Planes;
  /** Stored weights of the depth indices, `fullWeight` and more = sure. One plane. */
  weights: Planes;
  /** Level that it was found at: that of the depth indices in `found`, and of weights, gaps and certainties. */
  finest: CurveLevel;
  /** The depth indices as they were found; those of level 0 where that is the level. */
  found: Planes;
  /** Depth indices of the map: of what covers most of each pixel, where the picture takes its sharpest part. Level 0, one plane. */
  mapIndices: Planes;
  /** Not 0 where the steps between frames are too coarse to reach the peak. One plane. */
  gaps: Planes;
  /** How sure it is which of its peaks a pixel shows, 0 to 255. One plane. */
  certainties: Planes;
  /** Part of each step, by the index of the frame before it, that either of its frames shows sharp; 0 for a plain step. */
  reaches: readonly number[];
  /**
   * Peaks of each level that is followed or of which the sharpest frames are known, finest first: planes 0 rise, 1 depth index, 6 ordinal of the best frame, and 8 the ordinal of
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

/** Pixels of the composite from which the surface of `select` is found at half the size; tests lower it. */
export const halvedFrom = { pixels: halvedSurfacePixels };

/**
 * Level of the pyramid at which the surface is found: the picture of `select` does not follow it. In a long step the finest
 * detail tells what is covered.
 *
 * @param steps Distance of each frame but the last to the next, in usual steps.
 */
export function surfaceLevelFor(
  rule: SourceRule,
  { width, height }: Size,
  steps: readonly number[],
): CurveLevel {
  return rule === 'select' && width * height >= halvedFrom.pixels && !steps.some(isLong) ? 1 : 0;
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
 * The surface from the focus curves that `tracker` followed; their state is overwritten. Where these begin at level 1, it is
 * found there, and its depth indices are enlarged.
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
  const { state, finest, picks } = tracker;
  const frames = toFrame.length;
  /** In pixels of the level at which the surface lies. */
  const ownBlurPx = blurPx === undefined ? undefined : blurPx / 2 ** finest;
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
    arena.put(bounds, Float64Array.from(frameTable(toFrame, level + finest, () => measuredMargin)));
    await pool.run(
      'markTruncatedStrip',
      {
        levels,
        level,
        width: state[level].width,
        height: state[level].height,
        frames: bounds,
        count: frames,
        lastColumn: (frame.width - 1) / 2 ** (level + finest),
        lastRow: (frame.height - 1) / 2 ** (level + finest),
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
        fall: fallOfGap(finest),
        fractionBits,
        stripRows,
      },
      strips,
    );
    if (level === fineLevel && ownBlurPx !== undefined) {
      falseRims = await dropFalseRims(arena, pool, state, frames, ownBlurPx, fractionBits);
    }
    if (falseRims) {
      const coarse = fineLevel + 1;
      await dropUnder(pool, state[level], falseRims, state[coarse], coarse - level, fractionBits);
    }
  }

  if (ownBlurPx !== undefined && state.length > fineLevel) {
    await dropFineRims(arena, pool, state, frames, ownBlurPx, fractionBits);
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
  await fillUnknown(arena, pool, from, finest);
  const depthIndices = picks
    ? await enlarge(pool, from.depthIndices, picks, unit, fractionBits)
    : from.depthIndices;
  const hasMap = nearSign !== 0 && !picks;
  // The planes that are smoothed in turn have served.
  const same = storedLength(sameUnits * unit, fractionBits);
  await mapDepth(pool, from, planeOf(full, 10), to, hasMap, nearSign, same, leastDetail(tracker));
  arena.release(mark);
  return {
    depthIndices,
    weights: from.weights,
    finest,
    found: from.depthIndices,
    mapIndices: hasMap ? to.depthIndices : depthIndices,
    gaps: planeOf(full, 9),
    certainties: planeOf(full, 10),
    reaches: stepReaches(steps, reach),
    peaks: picks ? [picks, ...state] : state,
    detailShare,
    unit,
    fractionBits,
  };
}

/**
 * Fall of a curve from its peak to its best frame from which a step leaves a gap in the finest detail, octaves, where `finest` is
 * the finest level that was followed: half the wave number has twice the width (see model/optical-model.ts), a quarter of the fall.
 */
export function fallOfGap(finest: CurveLevel): number {
  return gapFall / 4 ** finest;
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
  const [labels, decided] = [planeOf(work, 0), planeOf(work, 1)];
  const found = { ...common, count, supports, supportStride: stride, labelStride: stride };
  await pool.run('labelStrip', { ...found, labels }, strips);
  await pool.run('decideStrip', { ...found, labels, decided, nearSign }, strips);
  await pool.run('storeSurfaceStrip', { ...found, decided, frames }, strips);
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
  for (const [m, memory] of arena.memories.entries()) {
    const { countTold } = directKernels({ memory }, ['countTold']);
    const { from, to } = weights.window.own[m];
    for (let y = from; y < to; y++) {
      known += countTold({ from: addressIn(weights, m) + y * weights.rowBytes, count: width });
    }
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

/** Depth indices of the map, where they are wanted, in the place of those of `out`, and certainties: see assembly/map-depth.ts. */
async function mapDepth(
  pool: StripPool,
  { depthIndices }: Level,
  certainties: Planes,
  { depthIndices: out, weights: marks }: Level,
  isWanted: boolean,
  nearSign: -1 | 0 | 1,
  same: number,
  leastEnergy: number,
): Promise<void> {
  const { stride, width, height } = depthIndices;
  const common = { marks, certainties, stride, width, height, same, stripRows };
  const strips = Math.ceil(height / stripRows);
  await pool.run('markDepthEdgesStrip', { ...common, depthIndices, nearSign, leastEnergy }, strips);
  if (isWanted) await pool.run('mapDepthStrip', { ...common, depthIndices, nearSign, out }, strips);
  await pool.run('halveOneSidedStrip', { ...common, depthIndices: isWanted ? out : depthIndices }, strips);
}

/** Gives every pixel of a level a depth index: pushed to ever coarser maps, then pulled back; in place. */
async function fillUnknown(arena: Arena, pool: StripPool, own: Level, finest: CurveLevel): Promise<void> {
  const { width, height } = own.depthIndices;
  const levels: Level[] = [own];
  for (let side = Math.max(width, height), w = width, h = height; side > 1; side = (side + 1) >> 1) {
    w = (w + 1) >> 1;
    h = (h + 1) >> 1;
    const window = arena.bands.composite(levels.length + finest, h, 1);
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

/** Depth indices of level 0 from those of level 1, in the place of the best codes of level 0, which have served. */
async function enlarge(
  pool: StripPool,
  coarse: Planes,
  picks: Planes,
  unit: number,
  fractionBits: number,
): Promise<Planes> {
  const out = planeOf(picks, statePlane.best);
  await pool.run(
    'enlargeStrip',
    {
      coarse,
      coarseStride: coarse.stride,
      coarseWidth: coarse.width,
      coarseHeight: coarse.height,
      ordinals: planeOf(picks, statePlane.bestOrdinal),
      out,
      stride: out.stride,
      width: out.width,
      height: out.height,
      same: enlargedTolerance(unit, fractionBits),
      fractionBits,
      stripRows,
    },
    Math.ceil(out.height / stripRows),
  );
  return out;
}

/** Depth indices of level 1 that lie no farther apart are one surface, which goes on between them; stored units. */
export function enlargedTolerance(unit: number, fractionBits: number): number {
  return storedLength(sameUnits * unit, fractionBits);
}

/** A map of level 1 at the size of level 0: each pixel for the four from its own on. */
export function doubled(
  map: Uint8Array,
  { width, height }: Size,
  take = (bytes: number): Uint8Array => new Uint8Array(bytes),
): Uint8Array {
  const out = take(width * height);
  const coarseWidth = (width + 1) >> 1;
  // Both bytes of a pair are the same, so that their order does not matter.
  const pairs = new Uint16Array(coarseWidth);
  const wide = new Uint8Array(pairs.buffer, 0, width);
  for (let y = 0; y < height; y++) {
    if (y % 2 === 0) {
      const from = (y >> 1) * coarseWidth;
      for (let i = 0; i < coarseWidth; i++) pairs[i] = map[from + i] * 257;
    }
    out.set(wide, y * width);
  }
  return out;
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

/**
 * @param bounds Frames in use.
 * @param take Takes the memory of the maps; default: of this thread.
 */
export async function readSurface(
  arena: Arena,
  pool: StripPool,
  { mapIndices, weights, finest, found, gaps, certainties, reaches, fractionBits }: Surface,
  { toFrame, frame }: FrameBounds,
  take = (bytes: number): Uint8Array => new Uint8Array(bytes),
): Promise<SurfaceMaps> {
  const { width, height, stride } = found;
  const mark = arena.mark();
  const window = arena.bands.composite(finest, height, 0);
  const confidence = arena.takeRows(width, window);
  const coverage = arena.takeRows(width, window);
  const frames = toFrame.length;
  const parts = Int32Array.from(reachTable(reaches));
  const table = arena.takeTable(parts);
  const bounds = arena.takeTable(Float64Array.from(frameTable(toFrame, finest)));
  await pool.run(
    'judgeStrip',
    {
      depthIndices: found,
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
      lastColumn: (frame.width - 1) / 2 ** finest,
      lastRow: (frame.height - 1) / 2 ** finest,
      confidence,
      coverage,
      stripRows,
    },
    Math.ceil(height / stripRows),
  );
  const pixels = mapIndices.width * mapIndices.height;
  const tight = new Uint16Array(take(2 * pixels).buffer, 0, pixels);
  for (let y = 0; y < mapIndices.height; y++) {
    tight.set(arena.rowU16(mapIndices, y).subarray(0, mapIndices.width), y * mapIndices.width);
  }
  const whole = (rows: Rows) => {
    return finest === 0 ? arena.gather(rows, take) : doubled(arena.gather(rows), mapIndices, take);
  };
  const maps = {
    depthIndices: tight,
    fractionBits,
    confidence: whole(confidence),
    coverage: whole(coverage),
  };
  arena.release(mark);
  return maps;
}
