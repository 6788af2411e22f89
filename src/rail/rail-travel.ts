import { median } from '../image/median.js';
import { fitStep } from './fit-step.js';
import { clearLevel, type FocusCurves } from './focus-curves.js';
import { followedStretches } from './tile-stretches.js';

/** How far the plane of focus went from frame to frame, as the tiles show it. */
export interface RailTravel {
  /** Travel from each frame to the next, in usual steps; negative where it ran against the rest. NaN where unknown. */
  steps: number[];
  /** Place of each frame along the rail in usual steps; the first is at 0. */
  places: number[];
  /** Change of the picture from frame to frame: mean change of ln energy over the tiles. */
  change: number[];
  /** Part of all tiles that each step is read off, 0 to 1. */
  votes: number[];
}

/** Fewer tiles than this tell nothing of a step. */
const fewestTiles = 12;
/** Frames to either side that tell what change is usual. */
const reach = 4;
/** A step of this many usual ones or more is missed or too large. */
export const longestPlainStep = 1.45;
/** Fewer steps around tell nothing of what is usual, nor do steps that change less than noise, ln energy. */
const fewestSteps = 3;
/** Steps on either side that a line needs. */
const fewestBeside = 2;
const leastChange = 0.12;
/** Travel below this part of the usual is none: what remains is noise. */
export const standstill = 0.4;
/**
 * Steps that are this long by the change of the picture may be longer: curves decide, where they make them so long. Of 21
 * rendered steps of about two they made 1.5 to 2.4, of steps of one next to nothing above 1.6.
 */
const doubtfulStep = 1.35;
const sureLongStep = 1.7;
/** And so short that nothing was travelled at all. */
const sureStandstill = 0.25;
/** Steps to either side that a curve may reach over. */
const besideCurves = 6;
/** ln energy by which a tile that votes on a turn must be clear of noise once more. */
const wellClear = 0.9;
/** Change of ln energy that noise does not make. */
const plainChange = 0.35;
/** Steps so small that fewer of the tiles change clearly show the noise of the others, not a turn. */
const leastPart = 0.2;
/** Parts of the tiles that are less sharp in the middle of three frames, and that go on getting sharper or softer, at a turn. */
const valleyPart = 0.2;
const slopePart = 0.38;
/** A frame that is blurred as a whole has hardly a crest. */
const crestPart = 0.1;
/** Where nothing is in focus: this part of the tiles must agree, which must be so many of all, and the outer frames so alike. */
const allPart = 0.9;
const manyPart = 0.05;
const backPart = 0.4;

/**
 * Reads the travel off the focus curves: the further the plane of focus goes, the more the detail of every tile
 * changes. Unlike the scale of the picture this also tells on lenses that hardly change it. No source.
 *
 * @param blurred Indices of frames that are blurred as a whole: steps to and from them stay unknown.
 */
export function railTravel(curves: FocusCurves, blurred: ReadonlySet<number>): RailTravel {
  const { frames } = curves;
  const changes = Array.from({ length: frames - 1 }, (_, k) => changeBetween(curves, k, k + 1));
  const change = changes.map(({ mean }, k) => (blurred.has(k) || blurred.has(k + 1) ? Number.NaN : mean));
  const ratio = change.map((value, k) => value / usualChange(change, k));
  const steps = settled(curves, signed(curves, change, ratio, blurred));
  const places = [0];
  for (const step of steps) places.push(places.at(-1)! + (Number.isNaN(step) ? 1 : step));
  return { steps, places, change, votes: changes.map(({ votes }) => votes) };
}

/** Mean change of the tiles that are clear of noise in one frame or the other, NaN with too few; and which part they are. */
function changeBetween(curves: FocusCurves, one: number, other: number): { mean: number; votes: number } {
  const { level, frames } = curves;
  const clear = clearLevel(curves);
  let sum = 0;
  let count = 0;
  for (let at = 0; at < level.length; at += frames) {
    const first = level[at + one];
    const second = level[at + other];
    // NaN, where a frame does not reach, fails both comparisons.
    if (!(first > clear || second > clear) || Number.isNaN(first + second)) continue;
    sum += Math.abs(first - second);
    count++;
  }
  const mean = count >= fewestTiles ? sum / count : Number.NaN;
  return { mean, votes: (count * frames) / level.length };
}

/**
 * The change that the steps around let expect of a step: their median, along a line (Theil 1950, Sen 1968) where there are
 * steps on both sides, as the change grows and falls with what comes into focus. NaN where too few steps are known, or
 * nothing changes.
 */
function usualChange(change: readonly number[], k: number): number {
  const around = change
    .map((value, i) => ({ value, off: i - k }))
    .filter(({ value, off }) => off !== 0 && Math.abs(off) <= reach && !Number.isNaN(value));
  const sides = [around.filter(({ off }) => off < 0).length, around.filter(({ off }) => off > 0).length];
  const slopes =
    Math.min(...sides) < fewestBeside
      ? []
      : around.flatMap((one, i) =>
          around.slice(0, i).map((other) => (one.value - other.value) / (one.off - other.off)),
        );
  const slope = median(Float64Array.from(slopes));
  const usual = median(Float64Array.from(around, ({ value, off }) => value - slope * off));
  return around.length < fewestSteps || usual < leastChange ? Number.NaN : usual;
}

/** Gives travel its sign: it changes at every frame where the rail turned. */
function signed(
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
    const moved = ratio[k] >= standstill;
    if (moved && before >= 0 && !blurred.has(k) && turnsAt(curves, before, k, k + 1)) sign = -sign;
    steps.push(sign * ratio[k]);
    if (moved) before = k;
  }
  const total = steps.reduce((sum, step) => sum + (Number.isNaN(step) ? 0 : Math.sign(step)), 0);
  return total < 0 ? steps.map((step) => -step) : steps;
}

/** Steps that are long or none by their change alone, by the curves of the tiles where these are as sure. */
function settled(curves: FocusCurves, steps: readonly number[]): number[] {
  const isLong = (step: number) => step >= doubtfulStep;
  const isNone = (step: number) => Math.abs(step) < standstill;
  if (!steps.some((step) => isLong(step) || isNone(step))) return [...steps];
  const stretches = followedStretches(curves);
  const forward = steps.map((step) => (Number.isNaN(step) ? 1 : Math.max(0, step)));
  return steps.map((step, k) => {
    if (!isLong(step) && !isNone(step)) return step;
    // Curves that a turn folds back on themselves fit nothing.
    const near = steps.slice(Math.max(0, k - besideCurves), k + besideCurves + 1);
    if (near.some((other) => other <= -standstill)) return step;
    const fit = fitStep(curves, stretches, forward, k);
    if (!fit) return step;
    const isSure = isLong(step)
      ? fit.length >= sureLongStep && fit.shorter >= longestPlainStep
      : fit.length <= sureStandstill && fit.longer < standstill;
    return isSure ? fit.length : step;
  });
}

/** How the tiles' detail goes over three frames, as parts of those that change clearly. */
export interface TileShapes {
  count: number;
  /** Part of the tiles with detail that change clearly, 0 to 1. */
  part: number;
  /** Less sharp in the middle frame than in both others. */
  valleys: number;
  /** Sharper in the middle frame. */
  crests: number;
}

export function shapesAt(curves: FocusCurves, first: number, middle: number, last: number): TileShapes {
  const { level, frames } = curves;
  const clear = clearLevel(curves) + wellClear;
  let [valleys, crests, count, seen] = [0, 0, 0, 0];
  for (let at = 0; at < level.length; at += frames) {
    const from = level[at + first] - level[at + middle];
    const to = level[at + last] - level[at + middle];
    if (Math.max(level[at + first], level[at + middle], level[at + last]) >= clear) seen++;
    if (!(Math.abs(from) > plainChange && Math.abs(to) > plainChange)) continue;
    if (Math.max(level[at + first], level[at + middle], level[at + last]) < clear) continue;
    if (from > 0 && to > 0) valleys++;
    else if (from < 0 && to < 0) crests++;
    count++;
  }
  return { count, part: count / seen, valleys: valleys / count, crests: crests / count };
}

/**
 * Whether the rail turned at the middle of three frames. A tile that comes into focus once may be sharper in the middle
 * frame than in both others as the rail moves on, but less sharp than both only after a turn.
 */
function turnsAt(curves: FocusCurves, first: number, middle: number, last: number): boolean {
  const { count, part, valleys, crests } = shapesAt(curves, first, middle, last);
  if (count < fewestTiles || part < leastPart) return false;
  if (valleys > valleyPart && crests > crestPart && 1 - valleys - crests < slopePart) return true;
  // Before the first tile is sharp and after the last, all rise or all fall, and a turn shows crests alone.
  if (crests < allPart || count < (manyPart * curves.level.length) / curves.frames) return false;
  const across = changeBetween(curves, first, last).mean;
  const one = changeBetween(curves, first, middle).mean;
  const two = changeBetween(curves, middle, last).mean;
  return across < backPart * Math.min(one, two);
}
