import { minClearChange, peakPower } from '../model/constants/model.js';
import { minSegmentSamples, segmentSamplesPerSide } from '../model/constants/rail.js';
import { solveSymmetric } from '../register/symmetric-band.js';
import { detectionLevel, type FocusCurves, peakFrame } from './focus-curves.js';

/** The part of a tile's curve around its peak. */
export interface PeakSegment {
  /** Index of the tile's first sample. */
  at: number;
  from: number;
  to: number;
  /** Level of the highest sample. */
  top: number;
}

/** The segments of all tiles whose curves have a peak with enough samples around it. */
export function peakSegments(curves: FocusCurves): PeakSegment[] {
  const { frames, level } = curves;
  const detection = detectionLevel(curves);
  const segments: PeakSegment[] = [];
  for (let at = 0; at < level.length; at += frames) {
    const best = peakFrame(curves, at / frames);
    if (best === undefined) continue;
    const top = level[at + best];
    const end = (direction: -1 | 1): number => {
      let k = best;
      while (
        Math.abs(k + direction - best) <= segmentSamplesPerSide &&
        k + direction >= 0 &&
        k + direction < frames
      ) {
        const next = level[at + k + direction];
        if (!(next > detection) || next > level[at + k] + minClearChange) break;
        k += direction;
      }
      return k;
    };
    const [from, to] = [end(-1), end(1)];
    if (to - from + 1 >= minSegmentSamples) segments.push({ at, from, to, top });
  }
  return segments;
}

/** Residuals of a segment's samples against the curve fitted through them. */
export interface SegmentFit {
  /**
   * Residual of each sample from `from` to `to`, ln energy, and its derivative by the sample's position, ln energy per
   * step. Overwritten by the next fit.
   */
  residuals: Float64Array;
  gradients: Float64Array;
  /** Standard deviation of the residuals. */
  misfit: number;
}

const residuals = new Float64Array(2 * segmentSamplesPerSide + 1);
const gradients = new Float64Array(2 * segmentSamplesPerSide + 1);

/**
 * Fits the curve of a segment over the positions of the frames: the parabola y = a + b u + c u^2, u = position - middle, to
 * y = exp((top - level) / peakPower) with relative errors. Undefined where it has no peak, or one of no finite height.
 */
export function fitSegment(
  level: Float32Array,
  { at, from, to, top }: PeakSegment,
  positions: readonly number[],
): SegmentFit | undefined {
  let middle = 0;
  for (let k = from; k <= to; k++) middle += positions[k] / (to - from + 1);
  const sums = new Float64Array(5);
  const right = new Float64Array(3);
  for (let k = from; k <= to; k++) {
    const y = Math.exp((top - level[at + k]) / peakPower);
    const u = positions[k] - middle;
    let term = 1 / (y * y);
    for (let i = 0; i < 5; i++) {
      sums[i] += term;
      if (i < 3) right[i] += term * y;
      term *= u;
    }
  }
  const normal = Float64Array.from({ length: 9 }, (_, i) => sums[Math.floor(i / 3) + (i % 3)]);
  const [a, b, c] = solveSymmetric(normal, right, 3) ?? [0, 0, 0];
  if (!(c > 0 && a - (b * b) / (4 * c) > 0.05)) return undefined;
  let square = 0;
  for (let k = from; k <= to; k++) {
    const u = positions[k] - middle;
    const value = a + b * u + c * u * u;
    residuals[k - from] = level[at + k] - top + peakPower * Math.log(value);
    gradients[k - from] = (-peakPower * (b + 2 * c * u)) / value;
    square += residuals[k - from] ** 2;
  }
  return { residuals, gradients, misfit: Math.sqrt(square / Math.max(1, to - from - 2)) };
}
