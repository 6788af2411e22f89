import { noiseBin } from '../../src/focus/focus-curves.js';
import type { PlaneName, State } from './focus-state.js';
import { at } from './kernel-rig.js';
import { tuned } from './tuned.js';

export const gapFall = tuned('gapFall');
const longStep = tuned('minLongStep');
const acrossRise = tuned('minPeakOctaves');
const secondRise = tuned('minPeakOctaves');

export const noiseCodes = [3000, 3400, 3800, 4000, 4200, 4300, 4400, 4500];
/** Errors by rise in sixteenths of an octave, octaves: any falling row serves. */
export const errorAt = (step: number) => Math.fround(2 / (1 + step / 16));

export interface Peak {
  rise: number;
  depthIndex: number;
  weight: number;
  /** The curve ends there, so that nothing is known of its peak. */
  truncated?: boolean;
  /** The steps are too coarse: the curve falls too far from its peak to its best frame. */
  missed: boolean;
  /** Octaves from the interpolated peak down to the best frame; 0 in a long step, which is judged later. */
  fall: number;
}

/** Top of the parabola through three values at d1, 0 and d3 (Newton's divided differences). */
function parabolaTop([f1, f2, f3]: readonly number[], [d1, d3]: readonly number[]): number {
  const [first, second] = [(f2 - f1) / -d1, (f3 - f2) / d3];
  const bend = (second - first) / (d3 - d1);
  return d1 / 2 - first / (2 * bend);
}

/**
 * Place of the peak through three measures at -behind, 0 and ahead. Of a Gaussian (Nayar & Nakagawa, PAMI 16(8), 1994),
 * whose logarithm is a parabola; where a step is long, of (1 + (x / width)^2)^-2, whose power -1/2 is one.
 */
function peakThrough(codes: readonly number[], behind: number, ahead: number): number {
  const isLong = Math.max(behind, ahead) >= longStep;
  const values = codes.map((code) => (isLong ? -(2 ** ((codes[1] - code) / 1024)) : code));
  return parabolaTop(values, [-behind, ahead]);
}

/** The best peak of one pixel of one level by the docstring of `peakStrip`. tone: of its best frame, 0 to 255. */
export function peakTwin(
  state: State,
  x: number,
  y: number,
  tone: number,
  steps: readonly number[],
  unit: number,
): Peak {
  const value = (name: PlaneName) => at(state[name], x, y);
  const ordinal = value('bestOrdinal');
  if (ordinal === 0) return { rise: 0, depthIndex: Number.NaN, weight: 0, fall: 0, missed: false };
  const floor = noiseCodes[noiseBin(tone)];
  const rise = value('best') - floor;

  const best = value('best');
  const [behind, ahead] = [steps[ordinal - 1], steps[ordinal]];
  // Across a gap what is near noise says nothing.
  const seen = (code: number, step: number) =>
    step >= longStep && code < floor + 512 * acrossRise ? 0 : code;
  const [before, after] = [seen(value('before'), behind), seen(value('after'), ahead)];
  let bend = (2 * ((best - before) / behind + (best - after) / ahead)) / (behind + ahead) / 512;
  let shift = 0;
  if (before > 0 && after > 0) {
    const top = bend > 0 ? peakThrough([before, best, after], behind, ahead) : 0;
    shift = Math.max(-behind / 2, Math.min(ahead / 2, top));
  } else {
    // A parabola of half an octave through the best and its one neighbour: bend / 2 ((step + s)^2 - s^2) = inner.
    bend = 0.5 / unit ** 2;
    const outward = (neighbour: number, step: number, beyond: number) => {
      const most = beyond < longStep ? 2 : Math.min(2, beyond / 2);
      return Math.max(-step / 2, Math.min(most, ((best - neighbour) / 256 / bend - step ** 2) / (2 * step)));
    };
    if (after > 0) shift = -outward(after, ahead, behind);
    else if (before > 0) shift = outward(before, behind, ahead);
  }
  const crossed = shift > 0 ? ahead : behind;
  const deviation = errorAt(Math.min(511, Math.floor(rise / 32))) / (bend * unit ** 2);
  const truncated = rise > 0 && (value('latest') & 1) !== 0;
  const weight = rise > 0 && !truncated ? Math.max(1 / 64, 1 / (deviation ** 2 + 0.1 ** 2)) : 0;
  const fall = crossed < longStep ? (bend / 2) * shift ** 2 : 0;
  return {
    rise: Math.max(0, rise),
    depthIndex: ordinal + shift / crossed,
    truncated,
    weight,
    fall,
    missed: weight > 0 && fall > gapFall,
  };
}

/** The second peak of one pixel: rise over noise in code steps and ordinal; both 0 where it is truncated or too low. */
export function secondTwin(state: State, x: number, y: number, tone: number) {
  const ordinal = at(state.secondOrdinal, x, y);
  const rise = at(state.second, x, y) - noiseCodes[noiseBin(tone)];
  // Bit 1 of the marks says that its curve ends there.
  const isTruncated = (at(state.latest, x, y) & 2) !== 0;
  return ordinal > 0 && rise > secondRise * 512 && !isTruncated ? { rise, ordinal } : { rise: 0, ordinal: 0 };
}
