import { median } from '../image/median.js';
import { type FocusCurves, peakFrame } from './focus-curves.js';

/** Where and how sharply one tile comes into focus. */
export interface TileFocus {
  /** Place of best focus along the rail, usual steps. */
  place: number;
  /** Half width of its focus curve in usual steps: how fast detail goes. */
  width: number;
  /** The frame, by index, in which the tile is sharpest. */
  best: number;
  /** Height of the fitted peak, ln energy above noise. */
  peak: number;
  /** Standard deviation of the samples around the fit. */
  error: number;
}

export interface FocusFit {
  /** One a tile, row by row; undefined without detail that comes and goes. */
  tiles: (TileFocus | undefined)[];
  /** Usual width of the curves. */
  width: number;
}

/**
 * Fall of a focus curve: ln energy = -power ln(1 + (distance / width)^2). Far out, the contrast of a disc-shaped blur
 * falls as its diameter to the power -3/2 (the envelope of J1(x)/x), energy as -3.
 */
const power = 1.5;
/** Widths that are tried, steps. */
const widths = Array.from({ length: 22 }, (_, i) => 0.2 * 1.2 ** i);
/** Samples to either side of the best frame that are fitted: at least so many, and so many usual widths, but no more. */
const leastReach = 5;
const reachWidths = 2.5;
const mostReach = 20;
/** Best focus beyond the ends is looked for this far, steps. */
const beyond = 3;
const placeStep = 0.125;
/** The same where the best frame is not at an end. */
const within = 1.5;
/** Offsets from -beyond to beyond, and frames around the best one, in a table of falls. */
const offsets = (2 * beyond) / placeStep + 1;
const tableFrames = 2 * mostReach + 1;
/** How much single widths differ from the usual, standard deviation of ln width. */
const widthSpread = 0.35;
/** Part of the rise that a curve with its peak beyond an end must show there at least. */
const leastLastRise = 0.5;
/** Error of a sample that tiles with more than one depth always have. */
const sampleError = 0.2;

/**
 * Fall of a focus curve (ln energy) between two even steps that leaves a gap: an octave. The maps of a merge call three
 * quarters of one a gap, but the width of curves that a few tiles and frames show is not known as well.
 */
export const sureGapFall = Math.LN2;
/** A step with half an octave of fall midway is a good one. */
export const goodFall = 0.5 * Math.LN2;

/** The fall of a curve at a distance from its peak, in ln energy; negative. */
export function fallAt(distance: number, width: number): number {
  return -power * Math.log1p((distance / width) ** 2);
}

/** Distance from the peak at which the curve has fallen by so much (ln energy, positive). */
export function distanceOfFall(fall: number, width: number): number {
  return width * Math.sqrt(Math.expm1(fall / power));
}

/** Fits every tile's curve over the rail places of the frames, first alone, then with the usual width in mind. */
export function fitFocus(curves: FocusCurves, places: readonly number[]): FocusFit {
  const tiles = curves.columns * curves.rows;
  const falls = new Map<number, Float64Array>();
  const first = Array.from({ length: tiles }, (_, tile) => fitTile(curves, tile, places, undefined, falls));
  const { frames } = curves;
  const inner = first.filter((fit) => fit && fit.best > 0 && fit.best < frames - 1 && fit.error < 0.5);
  const width = median(Float64Array.from(inner, (fit) => Math.log(fit!.width)));
  if (inner.length === 0) return { tiles: first, width: Number.NaN };
  const second = first.map((fit, tile) => fit && fitTile(curves, tile, places, width, falls));
  return { tiles: second, width: Math.exp(width) };
}

function fitTile(
  curves: FocusCurves,
  tile: number,
  places: readonly number[],
  usualLogWidth: number | undefined,
  falls: Map<number, Float64Array>,
): TileFocus | undefined {
  const { frames, level, least } = curves;
  const at = tile * frames;
  const peak = peakFrame(curves, tile);
  if (peak === undefined) return undefined;
  const best = peak;
  const reach =
    usualLogWidth === undefined
      ? leastReach
      : Math.min(mostReach, Math.max(leastReach, Math.ceil(reachWidths * Math.exp(usualLogWidth))));
  const used: number[] = [];
  for (let k = Math.max(0, best - reach); k <= Math.min(frames - 1, best + reach); k++) {
    if (!Number.isNaN(level[at + k])) used.push(k);
  }
  if (used.length < 3) return undefined;
  const along = places[frames - 1] >= places[0] ? 1 : -1;
  const ends = [best === used[0] ? beyond : within, best === used.at(-1) ? beyond : within];
  const fall = fallsAround(best, places, along, falls);
  let found: TileFocus | undefined;
  let least2 = Number.POSITIVE_INFINITY;
  for (const [w, width] of widths.entries()) {
    const odd = usualLogWidth === undefined ? 0 : ((Math.log(width) - usualLogWidth) / widthSpread) ** 2;
    for (let off = -ends[0]; off <= ends[1]; off += placeStep) {
      const place = places[best] + along * off;
      // Where in the table the fall at frame 0 would lie.
      const middle = (w * offsets + (off + beyond) / placeStep) * tableFrames + mostReach - best;
      let sum = 0;
      let weight = 0;
      for (const k of used) {
        if (level[at + k] <= least + 0.3) continue;
        sum += level[at + k] - fall[middle + k];
        weight++;
      }
      const peak = sum / weight;
      let error = 0;
      for (const k of used) {
        const expected = Math.max(least, peak + fall[middle + k]);
        const miss = level[at + k] - expected;
        // The rim of a curve may belong to another thing in the tile.
        error += Math.min(miss * miss, 1);
      }
      const cost = error / sampleError ** 2 + odd;
      if (cost < least2) {
        least2 = cost;
        found = { place, width, best, peak, error: Math.sqrt(error / used.length) };
      }
    }
  }
  return found && levelsOff(found) ? { ...found, place: places[best] } : found;

  /** Whether a curve that is thought to peak beyond an end has stopped to rise there: then it peaks about there. */
  function levelsOff({ place, width }: TileFocus): boolean {
    const inner = best === 0 ? 1 : best === frames - 1 ? frames - 2 : -1;
    if (inner < 0 || (place - places[best]) * (places[best] - places[inner]) <= 0) return false;
    const expected = fallAt(places[best] - place, width) - fallAt(places[inner] - place, width);
    return level[at + best] - level[at + inner] < leastLastRise * expected;
  }
}

/**
 * Falls of all widths, for all offsets of the peak from frame `best`, at the frames around it: (widths, offsets, frames).
 * Many tiles share them, and their logarithms are most of the work of a fit.
 */
function fallsAround(
  best: number,
  places: readonly number[],
  along: number,
  known: Map<number, Float64Array>,
): Float64Array {
  const kept = known.get(best);
  if (kept) return kept;
  const table = new Float64Array(widths.length * offsets * tableFrames);
  const first = Math.max(0, best - mostReach);
  const end = Math.min(places.length, best + mostReach + 1);
  let row = mostReach - best;
  for (const width of widths) {
    for (let i = 0; i < offsets; i++, row += tableFrames) {
      const place = places[best] + along * (i * placeStep - beyond);
      for (let k = first; k < end; k++) table[row + k] = fallAt(places[k] - place, width);
    }
  }
  known.set(best, table);
  return table;
}
