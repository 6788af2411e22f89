import { median } from '../image/median.js';
import { fitStep } from './fit-step.js';
import { detectionLevel, type FocusCurves } from './focus-curves.js';
import { peakSegments } from './peak-segments.js';

/** How far the plane of focus moved from frame to frame, estimated from the tiles. */
export interface RailTravel {
  /** Travel from each frame to the next, in usual steps; negative where it ran backwards. NaN where unknown. */
  steps: number[];
  /** Position of each frame along the rail, usual steps; the first is at 0. */
  positions: number[];
  /** Change of the picture from frame to frame: mean change of ln energy over the tiles. */
  change: number[];
  /** Share of all tiles that each step is measured on, 0 to 1. */
  tileShare: number[];
}

/** Minimum number of tiles to measure a step. */
const minTiles = 12;
/** Steps on each side from which the expected change is estimated. */
const maxNeighbourSteps = 4;
/** A step of this many usual steps or more is a missed or oversized one. */
export const maxRegularStep = 1.45;
/** Minimum number of known steps around, and minimum expected change (noise causes less), ln energy. */
const minKnownSteps = 3;
/** Minimum number of steps on each side for a linear trend. */
const minStepsPerSide = 2;
const minTypicalChange = 0.12;
/** Resolution of a step, usual steps: travel below this is not distinguished from none. */
export const minStep = 0.4;
/**
 * Steps that are this long by the change of the picture may be longer: the tiles' curves decide, where they confirm it.
 * Of 21 rendered steps of about two they measured 1.5 to 2.4, of steps of one hardly any above 1.6.
 */
const minUncertainStep = 1.35;
const minConfirmedStep = 1.7;
/** The same for steps that were not taken at all. */
const maxConfirmedStandstill = 0.25;
/** Steps on each side that a segment of a curve may span. */
const maxCurveSteps = 6;
/** Additional margin over the noise for tiles that decide on a turn, ln energy. */
const turnNoiseMargin = 0.9;
/** Minimum change that noise does not cause, ln energy. */
const minClearChange = 0.35;
/** Minimum share of tiles with a clear change: in smaller steps noise looks like a turn. */
const minChangedShare = 0.2;
/**
 * At a turn: minimum share of tiles that are least sharp in the middle of three frames, and maximum share that change
 * monotonically.
 */
const minValleyShare = 0.2;
const maxSlopeShare = 0.38;
/** Minimum share of tiles with a crest at a turn: a frame that is blurred as a whole has hardly any. */
const minCrestShare = 0.1;
/**
 * A turn where nothing is in focus: minimum share of tiles that agree, their minimum share of all tiles, and the
 * maximum change between the outer frames relative to the smaller of the two single changes.
 */
const unanimousShare = 0.9;
const minTurnTileShare = 0.05;
const maxReturnRatio = 0.4;

/**
 * Estimates the travel from the focus curves: the further the plane of focus moves, the more the detail of every tile
 * changes. Unlike the scale of the picture this also works for lenses that hardly change it. No source.
 *
 * @param blurred Indices of frames that are blurred as a whole: steps to and from them stay unknown.
 */
export function railTravel(curves: FocusCurves, blurred: ReadonlySet<number>): RailTravel {
  const { frames } = curves;
  const changes = Array.from({ length: frames - 1 }, (_, k) => changeBetween(curves, k, k + 1));
  const change = changes.map(({ mean }, k) => (blurred.has(k) || blurred.has(k + 1) ? Number.NaN : mean));
  const ratio = change.map((value, k) => value / expectedChange(change, k));
  const steps = resolveUncertainSteps(curves, addSign(curves, change, ratio, blurred));
  const positions = [0];
  for (const step of steps) positions.push(positions.at(-1)! + (Number.isNaN(step) ? 1 : step));
  return { steps, positions, change, tileShare: changes.map(({ tileShare }) => tileShare) };
}

/**
 * Mean change of the tiles that show detail above noise in either frame, NaN with too few of them; and their share of
 * all tiles.
 */
function changeBetween(curves: FocusCurves, one: number, other: number): { mean: number; tileShare: number } {
  const { level, frames } = curves;
  const clear = detectionLevel(curves);
  let sum = 0;
  let count = 0;
  for (let at = 0; at < level.length; at += frames) {
    const first = level[at + one];
    const second = level[at + other];
    // NaN, outside a frame's bounds, fails both comparisons.
    if (!(first > clear || second > clear) || Number.isNaN(first + second)) continue;
    sum += Math.abs(first - second);
    count++;
  }
  const mean = count >= minTiles ? sum / count : Number.NaN;
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
    .filter(({ value, off }) => off !== 0 && Math.abs(off) <= maxNeighbourSteps && !Number.isNaN(value));
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
      ? fit.length >= minConfirmedStep && fit.shorter >= maxRegularStep
      : fit.length <= maxConfirmedStandstill && fit.longer < minStep;
    return isConfirmed ? fit.length : step;
  });
}

/** Intended position of frame k, usual steps from the first: regular steps count as one each, longer ones as whole numbers. */
export function nominalPosition(steps: readonly number[], k: number): number {
  return steps.slice(0, k).reduce((sum, step) => sum + (step >= maxRegularStep ? Math.round(step) : 1), 0);
}

/** How the tiles' detail changes over three frames, as shares of the tiles with a clear change. */
export interface TileShapes {
  count: number;
  /** Share of the tiles with detail that change clearly, 0 to 1. */
  changedShare: number;
  /** Less sharp in the middle frame than in both others. */
  valleys: number;
  /** Sharper in the middle frame. */
  crests: number;
}

export function shapesAt(curves: FocusCurves, first: number, middle: number, last: number): TileShapes {
  const { level, frames } = curves;
  const clear = detectionLevel(curves) + turnNoiseMargin;
  let [valleys, crests, count, detected] = [0, 0, 0, 0];
  for (let at = 0; at < level.length; at += frames) {
    const from = level[at + first] - level[at + middle];
    const to = level[at + last] - level[at + middle];
    if (Math.max(level[at + first], level[at + middle], level[at + last]) >= clear) detected++;
    if (!(Math.abs(from) > minClearChange && Math.abs(to) > minClearChange)) continue;
    if (Math.max(level[at + first], level[at + middle], level[at + last]) < clear) continue;
    if (from > 0 && to > 0) valleys++;
    else if (from < 0 && to < 0) crests++;
    count++;
  }
  return { count, changedShare: count / detected, valleys: valleys / count, crests: crests / count };
}

/**
 * Whether the rail turned at the middle of three frames. A tile that comes into focus once may be sharper in the middle
 * frame than in both others as the rail moves on, but less sharp than both only after a turn.
 */
function turnsAt(curves: FocusCurves, first: number, middle: number, last: number): boolean {
  const { count, changedShare, valleys, crests } = shapesAt(curves, first, middle, last);
  if (count < minTiles || changedShare < minChangedShare) return false;
  if (valleys > minValleyShare && crests > minCrestShare && 1 - valleys - crests < maxSlopeShare) return true;
  // Before the first tile is sharp and after the last, all get sharper or all softer, and a turn shows crests only.
  if (crests < unanimousShare || count < (minTurnTileShare * curves.level.length) / curves.frames)
    return false;
  const across = changeBetween(curves, first, last).mean;
  const one = changeBetween(curves, first, middle).mean;
  const two = changeBetween(curves, middle, last).mean;
  return across < maxReturnRatio * Math.min(one, two);
}
