import type { FocusCurves } from './focus-curves.js';
import { fitStretch, type Stretch } from './tile-stretches.js';

/** Lengths that are tried, usual steps. */
const lengths = Array.from({ length: 25 }, (_, i) => i / 8);
/** Samples that a curve must have on either side of the step: one alone is met by a curve of any width. */
const fewestAside = 2;
/** Fewer tiles before the step, or after it, tell nothing. */
const fewestTiles = 10;
/** Misfit from which a tile counts half, ln energy: such a one holds two things at different depths. */
const plainMisfit = 0.2;

/** Lengths of one step, usual ones, that the tiles' curves fit best. */
export interface StepFit {
  /** By all tiles that come into focus about it. */
  length: number;
  /** By those alone that are sharpest before it, and those that are after it: the shorter and the longer of the two. */
  shorter: number;
  longer: number;
}

/**
 * Measures one step by the curves of the tiles that come into focus about it; undefined where too few tell it.
 *
 * How much the picture changes (`railTravel`) falls behind long steps, because many tiles pass through focus on the way or
 * sink into the noise, and it wavers where few tiles are sharp. A curve knows its own height and width, so that only the
 * right length puts both of its flanks on one parabola. Curves of things that lie one before the other err alike on the
 * same flank, as near the ends of a stack: a length is sure where tiles on either side of the step agree on it.
 *
 * @param steps All steps, usual ones and not falling; the one at `k`, from frame k to the next, is not looked at.
 */
export function fitStep(
  { level }: FocusCurves,
  stretches: readonly Stretch[],
  steps: readonly number[],
  k: number,
): StepFit | undefined {
  const sides: [Stretch[], Stretch[]] = [[], []];
  for (const stretch of stretches) {
    const { at, from, to } = stretch;
    if (k - from + 1 < fewestAside || to - k < fewestAside) continue;
    // Not by the two frames themselves, which are alike where no step was taken.
    sides[level[at + k - 1] > level[at + k + 2] ? 0 : 1].push(stretch);
  }
  if (Math.min(...sides.map((side) => side.length)) < fewestTiles) return undefined;
  const costs = lengths.map((length) => {
    const places = [0];
    for (const [i, step] of steps.entries()) places.push(places[i] + (i === k ? length : step));
    return sides.map((side) => side.reduce((sum, stretch) => sum + costOf(level, stretch, places), 0));
  });
  const bestBy = (cost: (of: number[]) => number) => {
    const all = costs.map(cost);
    return lengths[all.indexOf(Math.min(...all))];
  };
  const [before, after] = [bestBy(([cost]) => cost), bestBy(([, cost]) => cost)];
  return {
    length: bestBy(([one, other]) => one + other),
    shorter: Math.min(before, after),
    longer: Math.max(before, after),
  };
}

/** As Geman & McClure (Bull. Int. Stat. Inst. 52, 1987): a tile that fits nowhere has no say. */
function costOf(level: Float32Array, stretch: Stretch, places: readonly number[]): number {
  const fit = fitStretch(level, stretch, places);
  return fit ? 1 - 1 / (1 + (fit.misfit / plainMisfit) ** 2) : 1;
}
