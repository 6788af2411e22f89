import { median } from '../image/median.js';
import {
  extremeShare,
  minClearChange,
  minLongStep,
  minSample,
  neighbourFrames,
} from '../model/constants/model.js';
import {
  maxCurveSteps,
  maxSlopeShare,
  minChangedShare,
  minConfirmedStep,
  minKnownSteps,
  minStep,
  minStepsPerSide,
  minTypicalChange,
  minUncertainStep,
} from '../model/constants/rail.js';
import { fitStep } from './fit-step.js';
import { clearLevel, detectionLevel, type FocusCurves, isThinSubject, peakCounts } from './focus-curves.js';
import { positionsOf } from './frame-positions.js';
import { peakSegments } from './peak-segments.js';

/** How far the plane of focus moved from frame to frame, estimated from the tiles. */
export interface RailTravel {
  /** Travel from each frame to the next, in usual steps; negative where it ran backwards. NaN where unknown. */
  steps: number[];
  /** Position of each frame along the rail, usual steps; the first is at 0. */
  positions: number[];
  /** Share of all tiles that each step is measured on, 0 to 1. */
  tileShare: number[];
}

/**
 * Estimates the travel from the focus curves: the further the plane of focus moves, the more the detail of every tile
 * changes. Unlike the scale of the picture this also works for lenses that hardly change it. No source.
 *
 * @param blurred Indices of frames that are blurred as a whole: steps to and from them stay unknown.
 */
export function railTravel(curves: FocusCurves, blurred: ReadonlySet<number>): RailTravel {
  const { frames } = curves;
  const changes = Array.from({ length: frames - 1 }, (_, k) => changeAfter(curves, k));
  // All of a thin subject changes at once, by how far it is from focus: that tells no length of a step and no turn.
  const thin = isThinSubject(peakCounts(curves));
  const change = changes.map(({ mean }, k) =>
    thin || blurred.has(k) || blurred.has(k + 1) ? Number.NaN : mean,
  );
  const ratio = change.map((value, k) => value / expectedChange(change, k));
  const steps = resolveUncertainSteps(curves, addSign(curves, change, ratio, blurred));
  return {
    steps,
    positions: positionsOf(steps),
    tileShare: changes.map(({ tileShare }) => tileShare),
  };
}

/**
 * Mean change from frame k to the next of the tiles that show detail above noise in either, ln energy, NaN with too few of
 * them; and their share of all tiles.
 */
function changeAfter(curves: FocusCurves, k: number): { mean: number; tileShare: number } {
  const { level, frames } = curves;
  const clear = detectionLevel(curves);
  let sum = 0;
  let count = 0;
  for (let at = 0; at < level.length; at += frames) {
    const first = level[at + k];
    const second = level[at + k + 1];
    // NaN, outside a frame's bounds, fails both comparisons.
    if (!(first > clear || second > clear) || Number.isNaN(first + second)) continue;
    sum += Math.abs(first - second);
    count++;
  }
  const mean = count >= minSample ? sum / count : Number.NaN;
  return { mean, tileShare: (count * frames) / level.length };
}

/**
 * Change that is expected of a usual step at k, from the steps around it: their median, about a linear trend (Theil
 * 1950, Sen 1968) where there are steps on both sides, since the change follows how much of the subject comes into
 * focus. NaN where too few steps are known, or nothing changes.
 */
function expectedChange(change: readonly number[], k: number): number {
  const around = change
    .map((value, i) => ({ value, off: i - k }))
    .filter(({ value, off }) => off !== 0 && Math.abs(off) <= neighbourFrames && !Number.isNaN(value));
  const sides = [around.filter(({ off }) => off < 0).length, around.filter(({ off }) => off > 0).length];
  const slopes =
    Math.min(...sides) < minStepsPerSide
      ? []
      : around.flatMap((one, i) =>
          around.slice(0, i).map((other) => (one.value - other.value) / (one.off - other.off)),
        );
  const slope = median(Float64Array.from(slopes));
  const expected = median(Float64Array.from(around, ({ value, off }) => value - slope * off));
  return around.length < minKnownSteps || expected < minTypicalChange ? Number.NaN : expected;
}

/** Adds the sign of the travel, which flips at every frame where the rail turned. */
function addSign(
  curves: FocusCurves,
  change: readonly number[],
  ratio: readonly number[],
  blurred: ReadonlySet<number>,
): number[] {
  const steps: number[] = [];
  let sign = 1;
  /** The last frame from which the rail moved on. */
  let before = -1;
  for (let k = 0; k < change.length; k++) {
    const moved = ratio[k] >= minStep;
    if (moved && before >= 0 && !blurred.has(k) && turnsAt(curves, before, k, k + 1)) sign = -sign;
    steps.push(sign * ratio[k]);
    if (moved) before = k;
  }
  const total = steps.reduce((sum, step) => sum + (Number.isNaN(step) ? 0 : Math.sign(step)), 0);
  return total < 0 ? steps.map((step) => -step) : steps;
}

/** Replaces steps that seem long, or none, by the length that the tiles' curves give, where they confirm it. */
function resolveUncertainSteps(curves: FocusCurves, steps: readonly number[]): number[] {
  const isLong = (step: number) => step >= minUncertainStep;
  const isNone = (step: number) => Math.abs(step) < minStep;
  if (!steps.some((step) => isLong(step) || isNone(step))) return [...steps];
  const segments = peakSegments(curves);
  const forward = steps.map((step) => (Number.isNaN(step) ? 1 : Math.max(0, step)));
  return steps.map((step, k) => {
    if (!isLong(step) && !isNone(step)) return step;
    // Curves across a turn are folded back on themselves and fit no single peak.
    const near = steps.slice(Math.max(0, k - maxCurveSteps), k + maxCurveSteps + 1);
    if (near.some((other) => other <= -minStep)) return step;
    const fit = fitStep(curves, segments, forward, k);
    if (!fit) return step;
    const isConfirmed = isLong(step)
      ? fit.length >= minConfirmedStep && fit.shorter >= minLongStep
      : fit.length <= minStep && fit.longer <= minStep;
    return isConfirmed ? fit.length : step;
  });
}

/** Intended position of frame k, usual steps from the first: regular steps count as one each, longer ones as whole numbers. */
export function nominalPosition(steps: readonly number[], k: number): number {
  return steps.slice(0, k).reduce((sum, step) => sum + (step >= minLongStep ? Math.round(step) : 1), 0);
}

/**
 * Whether the rail turned at the middle of three frames. A tile that comes into focus once may be sharper in the middle
 * frame than in both others (a crest) as the rail moves on, but less sharp than both (a valley) only after a turn.
 */
function turnsAt(curves: FocusCurves, first: number, middle: number, last: number): boolean {
  const { level, frames } = curves;
  const clear = clearLevel(curves);
  let [valleys, crests, count, detected] = [0, 0, 0, 0];
  for (let at = 0; at < level.length; at += frames) {
    const from = level[at + first] - level[at + middle];
    const to = level[at + last] - level[at + middle];
    // NaN, outside a frame's bounds, fails.
    if (!(Math.max(level[at + first], level[at + middle], level[at + last]) >= clear)) continue;
    detected++;
    if (!(Math.abs(from) > minClearChange && Math.abs(to) > minClearChange)) continue;
    if (from > 0 && to > 0) valleys++;
    else if (from < 0 && to < 0) crests++;
    count++;
  }
  return (
    count >= minSample &&
    count >= minChangedShare * detected &&
    valleys > minChangedShare * count &&
    crests > extremeShare * count &&
    count - valleys - crests < maxSlopeShare * count
  );
}
