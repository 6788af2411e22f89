import { solveSymmetric } from '../register/solve-symmetric.js';
import { type FocusCurves, peakFrame } from './focus-curves.js';

/** Frames to either side of a tile's best that its curve is followed over. */
const reach = 3;
const fewestSamples = 4;
/** A curve ends where it nears the noise, or rises again by so much, ln energy. */
const aboveNoise = 0.7;
const plainRise = 0.1;
/** Half of the fall of curves about their peak: ln energy = -power ln(1 + (distance / width)^2). Found on rendered stacks. */
const power = 2;

/** The part of a tile's curve about its peak. */
export interface Stretch {
  /** Index of the tile's first sample. */
  at: number;
  from: number;
  to: number;
  /** Level of the highest sample. */
  top: number;
}

/** The stretches of all tiles whose curves have a peak and can be followed for long enough. */
export function followedStretches(curves: FocusCurves): Stretch[] {
  const { frames, level, least } = curves;
  const stretches: Stretch[] = [];
  for (let at = 0; at < level.length; at += frames) {
    const best = peakFrame(curves, at / frames);
    if (best === undefined) continue;
    const top = level[at + best];
    const end = (way: -1 | 1): number => {
      let k = best;
      while (Math.abs(k + way - best) <= reach && k + way >= 0 && k + way < frames) {
        const next = level[at + k + way];
        if (!(next > least + aboveNoise) || next > level[at + k] + plainRise) break;
        k += way;
      }
      return k;
    };
    const [from, to] = [end(-1), end(1)];
    if (to - from + 1 >= fewestSamples) stretches.push({ at, from, to, top });
  }
  return stretches;
}

/** What a stretch's samples miss the curve through them by. */
export interface StretchFit {
  /** By sample from `from` to `to`, ln energy; and how that changes with the sample's place, ln energy a step. Used again by the next fit. */
  misses: Float64Array;
  slopes: Float64Array;
  /** Standard deviation of the misses. */
  misfit: number;
}

const misses = new Float64Array(2 * reach + 1);
const slopes = new Float64Array(2 * reach + 1);

/** Fits the curve of a stretch over the places of the frames; undefined where it has no peak there. */
export function fitStretch(
  level: Float32Array,
  { at, from, to, top }: Stretch,
  places: readonly number[],
): StretchFit | undefined {
  const curve = fitCurve(level, at, from, to, top, places);
  if (!curve) return undefined;
  const { middle, a, b, c } = curve;
  let square = 0;
  for (let k = from; k <= to; k++) {
    const u = places[k] - middle;
    const value = a + b * u + c * u * u;
    misses[k - from] = level[at + k] - top + power * Math.log(value);
    slopes[k - from] = (-power * (b + 2 * c * u)) / value;
    square += misses[k - from] ** 2;
  }
  return { misses, slopes, misfit: Math.sqrt(square / Math.max(1, to - from - 2)) };
}

/** The parabola y = a + b u + c u^2, u = place - middle, through y = exp((top - level) / power); errors count by their ratio. */
function fitCurve(
  level: Float32Array,
  at: number,
  from: number,
  to: number,
  top: number,
  places: readonly number[],
): { middle: number; a: number; b: number; c: number } | undefined {
  let middle = 0;
  for (let k = from; k <= to; k++) middle += places[k] / (to - from + 1);
  const sums = new Float64Array(5);
  const right = new Float64Array(3);
  for (let k = from; k <= to; k++) {
    const y = Math.exp((top - level[at + k]) / power);
    const u = places[k] - middle;
    let term = 1 / (y * y);
    for (let i = 0; i < 5; i++) {
      sums[i] += term;
      if (i < 3) right[i] += term * y;
      term *= u;
    }
  }
  const normal = Float64Array.from({ length: 9 }, (_, i) => sums[Math.floor(i / 3) + (i % 3)]);
  const solved = solveSymmetric(normal, right, 3);
  if (!solved) return undefined;
  const [a, b, c] = solved;
  // A curve without a peak, or one that would be endlessly high, is none.
  return c > 0 && a - (b * b) / (4 * c) > 0.05 ? { middle, a, b, c } : undefined;
}
