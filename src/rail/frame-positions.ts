import { median } from '../image/median.js';
import { SymmetricBand } from '../register/symmetric-band.js';
import type { FocusCurves } from './focus-curves.js';
import { longestPlainStep, type RailTravel } from './rail-travel.js';
import { fitStretch, followedStretches, type Stretch } from './tile-stretches.js';

/** A step shorter than this part of the usual tells nothing more: frames so near show the same. */
const shortestStep = 0.4;
/** Longer steps are known as long, but not how long: nothing shows sharp what lies in them. Usual steps. */
export const longestMeasuredStep = 3;
/**
 * Longest step that is told from others, where positions or numbers tell it. Coverage counts in 1/64 of a step
 * (`judgeStrip`): half a usual step on either side, which is the least that a frame reaches, must not vanish.
 */
export const longestStep = 30;
/** Fewer tiles tell nothing. */
const fewestTiles = 30;
/** Curves that fit worse than this, ln energy, belong to two things in one tile. */
const plainMisfit = 0.2;
/** Tiles err together: so many of them say as much as one alone would. Found on rendered stacks. */
const tilesAlike = 20;
/** Usual scatter of a rail's steps, and of those that are longer than a step. */
const stepSpread = 0.15;
const longSpread = 4;
/** Rounds between places of tiles and places of frames, how far each goes, and the change that ends them. */
const rounds = 12;
const pace = 0.8;
const leastChange = 0.002;
/** Error of a step for each unit of the tiles' misfit. Found on rendered stacks with even steps. */
const errorPerMisfit = 0.14;

/**
 * Places along the rail of the frames that are kept, in usual steps; the first is at 0, and they rise.
 *
 * Each tile comes into focus once, and its energy to the power -1/2 is then a parabola over the places of the frames.
 * Tiles and frames are placed in turn until both fit (least squares), and what the tiles cannot tell is left to steps of
 * the usual length. How far frames lie apart is known to some 2 % of a step on a plane, and to 5 % where things stand one
 * before the other, which is no more than a rail does; slow changes of the step over many frames are not seen. Long steps
 * come from `railTravel`: beyond `longestMeasuredStep` they are known as long, but not how long.
 *
 * @param kept Indices of the frames, in order.
 * @param numbers Numbers of the same frames: a number that is left out is a step more.
 */
export function framePlaces(
  { frames, level, least, ...rest }: FocusCurves,
  travel: RailTravel,
  kept: readonly number[],
  numbers: readonly number[],
): number[] {
  const count = kept.length;
  const expected = expectedSteps(travel, kept, numbers);
  const places = placesOf(expected);
  const own = new Float32Array((level.length / frames) * count);
  for (let from = 0, to = 0; from < level.length; from += frames) {
    for (const k of kept) own[to++] = level[from + k];
  }
  const curves = { ...rest, level: own, least, frames: count };
  const stretches = followedStretches(curves);
  if (stretches.length < fewestTiles) return places;
  let found = places;
  let misfit = 0;
  for (let round = 0; round < rounds; round++) {
    const next = betterPlaces(curves, stretches, found, expected);
    if (!next) return places;
    const change = Math.max(...next.places.map((place, k) => Math.abs(place - found[k])));
    found = next.places;
    misfit = next.misfit;
    if (change < leastChange) break;
  }
  const steps = found.slice(1).map((place, k) => Math.max(shortestStep, place - found[k]));
  return placesOf(trusted(steps, errorPerMisfit * misfit));
}

/** Steps with what may be error taken off: all that differs from a usual step where no more differs than that. */
function trusted(steps: readonly number[], error: number): number[] {
  let square = 0;
  let count = 0;
  for (let k = 1; k < steps.length; k++) {
    if (Math.max(steps[k - 1], steps[k]) >= longestPlainStep) continue;
    square += (steps[k] - steps[k - 1]) ** 2 / 2;
    count++;
  }
  const share = square > 0 ? Math.max(0, 1 - (error * error * count) / square) : 0;
  return steps.map((step) => (step >= longestPlainStep ? step : 1 + share * (step - 1)));
}

/** Steps between the frames that are kept, before the tiles are asked one by one: one usual step, unless more is known. */
function expectedSteps({ steps }: RailTravel, kept: readonly number[], numbers: readonly number[]): number[] {
  return kept.slice(1).map((to, i) => {
    let between = 0;
    for (let k = kept[i]; k < to; k++) between += steps[k] >= longestPlainStep ? steps[k] : 1;
    return Math.max(between, numbers[i + 1] - numbers[i]);
  });
}

function placesOf(steps: readonly number[]): number[] {
  const places = [0];
  for (const step of steps) places.push(places[places.length - 1] + step);
  return places;
}

/** One round: the tiles' curves over the places, then the places by what misses the curves. */
function betterPlaces(
  { frames, level }: FocusCurves,
  stretches: readonly Stretch[],
  places: readonly number[],
  expected: readonly number[],
): { places: number[]; misfit: number } | undefined {
  const pull = new Float64Array(frames);
  const hold = new Float64Array(frames);
  const misfits: number[] = [];
  for (const stretch of stretches) {
    const fit = fitStretch(level, stretch, places);
    if (!fit) continue;
    const { from, to } = stretch;
    const { misses, slopes, misfit } = fit;
    const weight = 1 / (1 + (misfit / plainMisfit) ** 2);
    for (let k = from; k <= to; k++) {
      pull[k] += weight * misses[k - from] * slopes[k - from];
      hold[k] += weight * slopes[k - from] ** 2;
    }
    misfits.push(misfit);
  }
  if (misfits.length < fewestTiles) return undefined;
  const typical = median(Float64Array.from(misfits));
  const error = Math.max(0.05, typical);
  const sure = 1 / (error * error * tilesAlike);
  const normal = new SymmetricBand(frames, 1);
  const right = new Float64Array(frames);
  for (let k = 0; k < frames; k++) {
    // The first frame is held, or all could wander.
    const held = sure * hold[k] + (k === 0 ? 1 : 1e-9);
    normal.add(k, k, held);
    right[k] += held * places[k] + pace * sure * pull[k];
  }
  expected.forEach((step, k) => {
    const spread = stepSpread * (step > 1 ? longSpread * Math.sqrt(step) : 1);
    const weight = 1 / (spread * spread);
    const next = k + 1;
    normal.add(k, k, weight);
    normal.add(next, next, weight);
    normal.add(next, k, -weight);
    right[k] -= weight * step;
    right[next] += weight * step;
  });
  const solved = normal.solve(right);
  if (!solved) return undefined;
  const usual = median(Float64Array.from(expected, (_, k) => solved[k + 1] - solved[k]));
  if (!(usual > 0)) return undefined;
  return { places: Array.from(solved, (place) => (place - solved[0]) / usual), misfit: typical };
}
