import type { Size } from '../image/image.js';
import type { Quantity } from '../result/measures-file.js';
import { significantNumber } from '../result/report/numbers.js';
import { meanLine, meanSurface } from './gaussian-filter.js';
import { leastSquares } from './least-squares.js';
import type { Metric } from './metric.js';
import type { Profile } from './profile.js';
import { known, noDepth, unknown } from './quantities.js';
import { independentPx } from './region-measures.js';

/** Cut-offs of ISO 4288:1996 (0.08 to 8 mm), carried on by the same row to the small, mm. */
const cutoffSeries = [8, 2.5, 0.8, 0.25, 0.08, 0.025, 0.008, 0.0025, 0.0008];
/** Sampling lengths, each as long as the cut-off, that an evaluation length holds (ISO 4288). */
const samplingLengths = 5;
/** Part of the cut-off at either end that the mean line has too little around it (ISO 16610-28: end effects). */
const endPart = 0.5;
/** Known part of the samples below which nothing is evaluated. */
const minKnown = 0.75;
const maxTrendSamples = 1_000_000;
/** Samples that a cut-off holds at least, so that the filter is one. */
const minCutoffSamples = 4;

export interface Cutoff {
  value: number;
  unit: 'mm' | 'px';
}

export interface Roughness {
  quantities: Quantity[];
  remarks: string[];
  cutoff: Cutoff;
}

/** The cut-off for a length: the longest of the series that goes five times into it; without mm a fifth of it. */
function usualCutoff(length: number, unit: 'mm' | 'px'): Cutoff {
  const longest = length / samplingLengths;
  if (unit === 'px') return { value: longest, unit };
  return { value: cutoffSeries.find((cutoff) => cutoff <= longest * (1 + 1e-9)) ?? longest, unit };
}

/**
 * Ra and Rq of a profile (ISO 4287:1997, 4.2.1 and 4.2.2): arithmetic and quadratic mean of the roughness profile, which is
 * what the Gaussian filter's mean line leaves of the primary profile; a line by least squares is taken out first.
 */
export function profileRoughness(metric: Metric, profile: Profile, given: Cutoff | undefined): Roughness {
  const { samples } = profile;
  const length = samples.at(-1)!.along;
  const spacing = length / (samples.length - 1);
  const cutoff = cutoffFor(metric, length, spacing, given);
  const cutoffSamples = samplesOf(metric, cutoff, spacing);
  const names = ['Ra', 'Rq'] as const;
  const heights = Float32Array.from(samples, ({ height }) => height);
  const ends = Math.ceil(endPart * cutoffSamples);
  const fault = cutoffFault(cutoffSamples, samples.length, ends, heights, samples.length);
  if (fault !== undefined) return nothing(names, metric, fault, cutoff);
  const level = withoutTrend(heights, (i) => [1, i]);
  const mean = meanLine(level, cutoffSamples);
  const inside = heights.length - ends;
  const rough = level.map((height, i) => (i >= ends && i < inside ? height - mean[i] : Number.NaN));
  const noise = Float32Array.from(samples, ({ sigma }) => sigma);
  return evaluate(names, metric, rough, noise, Math.sqrt(independentPx), cutoff);
}

/**
 * Sa and Sq of an area (ISO 25178-2:2012, 4.1.1 and 4.1.7) on the scale-limited surface: a plane by least squares is taken
 * out, then the mean surface of the Gaussian filter.
 *
 * @param heights (height, width) toward the camera, in the unit of heights; NaN: none, or not of the region.
 * @param noise Standard uncertainty of each.
 * @param pixels Of the region, those without a height included.
 * @param spacing Of pixels, in the unit across.
 */
export function arealRoughness(
  metric: Metric,
  heights: Float32Array,
  noise: Float32Array,
  { width, height }: Size,
  pixels: number,
  spacing: number,
  given: Cutoff | undefined,
): Roughness {
  const shorter = Math.min(width, height);
  const cutoff = cutoffFor(metric, shorter * spacing, spacing, given);
  const cutoffSamples = samplesOf(metric, cutoff, spacing);
  const names = ['Sa', 'Sq'] as const;
  const ends = Math.ceil(endPart * cutoffSamples);
  const fault = cutoffFault(cutoffSamples, shorter, ends, heights, pixels);
  if (fault !== undefined) return nothing(names, metric, fault, cutoff);
  const level = withoutTrend(heights, (i) => [1, i % width, Math.floor(i / width)]);
  const mean = meanSurface(level, width, height, cutoffSamples);
  const rough = level.map((value, i) => {
    const [x, y] = [i % width, Math.floor(i / width)];
    const isInner = x >= ends && y >= ends && x < width - ends && y < height - ends;
    return isInner ? value - mean[i] : Number.NaN;
  });
  return evaluate(names, metric, rough, noise, independentPx, cutoff);
}

/**
 * Both means with their uncertainties: that of a mean of so many independent samples of a normal surface (the mean of
 * absolute values scatters by sqrt(pi / 2 - 1) of itself, the root mean square by sqrt(1 / 2)), that of the depth, whose errors add
 * their square to the roughness, and that of the scale. Below the depth's own errors nothing is known of the
 * roughness.
 */
function evaluate(
  [arithmetic, quadratic]: readonly [string, string],
  metric: Metric,
  rough: Float32Array,
  noise: Float32Array,
  samplesEach: number,
  cutoff: Cutoff,
): Roughness {
  let [sum, squares, count, variance] = [0, 0, 0, 0];
  for (let i = 0; i < rough.length; i++) {
    if (!Number.isFinite(rough[i])) continue;
    sum += Math.abs(rough[i]);
    squares += rough[i] ** 2;
    variance += noise[i] ** 2;
    count++;
  }
  const [mean, root] = [sum / count, Math.sqrt(squares / count)];
  const sigma = Math.sqrt(variance / count);
  const unit = metric.along;
  if (root < sigma) {
    const limit = `${significantNumber(sigma, 2)} ${unit === 'mm' ? 'mm' : 'steps'}`;
    return nothing(
      [arithmetic, quadratic],
      metric,
      `it is not above the uncertainty of depth there, ${limit}`,
      cutoff,
    );
  }
  const independent = Math.max(1, count / samplesEach);
  const ofDepth = sigma ** 2 / (2 * root);
  const uncertain = (value: number, scatter: number) => ({
    value,
    sigma: Math.hypot(
      (value * scatter) / Math.sqrt(independent),
      (ofDepth * value) / root,
      metric.relativeSigma * value,
    ),
  });
  return {
    quantities: [
      known(arithmetic, uncertain(mean, Math.sqrt(Math.PI / 2 - 1)), unit),
      known(quadratic, uncertain(root, Math.sqrt(1 / 2)), unit),
    ],
    remarks: [],
    cutoff,
  };
}

function nothing(names: readonly string[], { along }: Metric, why: string, cutoff: Cutoff): Roughness {
  return { quantities: names.map((name) => unknown(name, along, why)), remarks: [], cutoff };
}

function cutoffFor(metric: Metric, length: number, spacing: number, given: Cutoff | undefined): Cutoff {
  if (given) return given;
  const usual = usualCutoff(length, metric.across);
  // Of short profiles no step of the series is longer than a few pixels.
  const isEnough = samplesOf(metric, usual, spacing) >= minCutoffSamples;
  return isEnough ? usual : { value: length / samplingLengths, unit: metric.across };
}

/** A cut-off in samples; NaN where mm are asked for and none are known. */
function samplesOf(metric: Metric, { value, unit }: Cutoff, spacing: number): number {
  if (unit === metric.across) return value / spacing;
  return unit === 'px' ? (value * metric.side) / spacing : Number.NaN;
}

function cutoffFault(
  cutoffSamples: number,
  count: number,
  ends: number,
  heights: Float32Array,
  pixels: number,
): string | undefined {
  if (Number.isNaN(cutoffSamples)) return 'the cut-off is in mm and the size of a pixel is not known';
  if (cutoffSamples < minCutoffSamples) return `the cut-off is shorter than ${minCutoffSamples} pixels`;
  if (count - 2 * ends < 2 * cutoffSamples) {
    return 'three cut-offs at least must fit into the length that is measured';
  }
  const found = heights.reduce((count, height) => (Number.isNaN(height) ? count : count + 1), 0);
  return found < minKnown * pixels ? noDepth : undefined;
}

/** Values less their trend by least squares, which is found by a million of them at most. */
function withoutTrend(values: Float32Array, terms: (i: number) => number[]): Float32Array {
  const every = Math.ceil(values.length / maxTrendSamples);
  function* observations(): Generator<number[]> {
    for (let i = 0; i < values.length; i += every) {
      if (!Number.isNaN(values[i])) yield [...terms(i), values[i]];
    }
  }
  const coefficients = leastSquares(observations()) ?? [0];
  return values.map((value, i) => {
    const trend = terms(i).reduce((sum, term, k) => sum + term * (coefficients[k] ?? 0), 0);
    return value - trend;
  });
}
