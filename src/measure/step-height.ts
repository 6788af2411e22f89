import type { Quantity } from '../result/measures-file.js';
import { significantNumber } from '../result/report/numbers.js';
import { leastSquares, solve } from './least-squares.js';
import type { Metric } from './metric.js';
import type { Profile, ProfileSample } from './profile.js';
import { known, noDepth, unknown } from './quantities.js';
import { independentPx } from './region-measures.js';

const name = 'step height';
/** Samples at which the edges are looked for, at most. */
const maxSearched = 240;
/** Samples that a level needs. */
const minLevelSamples = 5;
/** Part of the residual that a second edge must take away to be one. */
const minGain = 0.3;
/** Part of the width beside an edge that is passed over, for edges are rounded (ISO 5436-1:2000, 5.2.2). */
const passedOver = 1 / 3;

/**
 * Height of a step by the evaluation of ISO 5436-1 (type A1, wide grooves with flat bottom): one slope and two levels are
 * fitted by least squares, Z = a X + b + h d with d = +1 on the one and -1 on the other level, and the step is 2 h. Of a
 * groove or ridge of width W the middle third counts, and on either side what lies from W / 3 to W off its edges. Of
 * a single edge (for which the standard has no rule) W is the shorter side, and both sides count alike.
 */
export function measureStep(metric: Metric, profile: Profile): { quantities: Quantity[]; remarks: string[] } {
  const nothing = (why: string) => ({ quantities: [unknown(name, metric.along, why)], remarks: [] });
  const samples = profile.samples.filter(({ height }) => Number.isFinite(height));
  if (samples.length < 4 * minLevelSamples) return nothing(noDepth);
  const edges = findEdges(samples);
  if (!edges) return nothing('no step stands out along the line');
  const levels = levelsOf(samples, edges);
  if (levels.upper.length < minLevelSamples || levels.lower.length < minLevelSamples) {
    return nothing('one of the two levels is too short: draw the line farther over both');
  }
  const rows = [
    ...levels.upper.map(({ along, height }) => [along, 1, 1, height]),
    ...levels.lower.map(({ along, height }) => [along, 1, -1, height]),
  ];
  const fit = leastSquares(rows);
  if (!fit) return nothing('the two levels do not determine it');
  const residual = Math.sqrt(
    rows.reduce((sum, [x, one, d, z]) => sum + (z - fit[0] * x - fit[1] * one - fit[2] * d) ** 2, 0) /
      Math.max(1, rows.length - 3),
  );
  // Of each level the mean: by how it scatters, and by how sure its depths are, of which those side by side err alike.
  const sigmaOf = (level: readonly ProfileSample[]) => {
    const depth = Math.sqrt(level.reduce((sum, { sigma }) => sum + sigma ** 2, 0) / level.length);
    return Math.max(residual, depth) / Math.sqrt(Math.max(1, level.length / Math.sqrt(independentPx)));
  };
  const value = 2 * fit[2];
  const sigma = Math.hypot(sigmaOf(levels.upper), sigmaOf(levels.lower), metric.relativeSigma * value);
  const isGroove = edges[1] < samples.length;
  const remarks = [
    isGroove
      ? `A groove or ridge ${widthText(samples, edges, profile)} wide was found on the line.`
      : 'One edge was found on the line; both sides were evaluated from a third of the shorter one on.',
  ];
  return { quantities: [known(name, { value: Math.abs(value), sigma }, metric.along)], remarks };
}

function widthText(
  samples: readonly ProfileSample[],
  [from, to]: readonly [number, number],
  { unit }: Profile,
) {
  return `${significantNumber(samples[to].along - samples[from].along, 3)} ${unit.along}`;
}

/** Samples of the two levels that count. */
function levelsOf(
  samples: readonly ProfileSample[],
  [from, to]: readonly [number, number],
): { upper: ProfileSample[]; lower: ProfileSample[] } {
  const at = (i: number) => (samples[i - 1].along + samples[i].along) / 2;
  const first = at(from);
  if (to === samples.length) {
    const width = Math.min(first - samples[0].along, samples[samples.length - 1].along - first);
    const within = ({ along }: ProfileSample) =>
      Math.abs(along - first) >= passedOver * width && Math.abs(along - first) <= width * (1 + 1e-9);
    const counted = samples.filter(within);
    return {
      upper: counted.filter(({ along }) => along > first),
      lower: counted.filter(({ along }) => along < first),
    };
  }
  const last = at(to);
  const width = last - first;
  return {
    upper: samples.filter(
      ({ along }) => along >= first + passedOver * width && along <= last - passedOver * width,
    ),
    lower: samples.filter(({ along }) => {
      const off = along < first ? first - along : along - last;
      return off >= passedOver * width && off <= width;
    }),
  };
}

/**
 * The edges that a slope and two levels fit best: the first sample behind each. The second is the number of
 * samples where one edge does as well. All pairs are tried, by running sums.
 */
function findEdges(samples: readonly ProfileSample[]): [number, number] | undefined {
  const every = Math.max(1, Math.ceil(samples.length / maxSearched));
  const picked = samples.filter((_, i) => i % every === 0);
  const count = picked.length;
  const sums = runningSums(picked);
  const all = sums[count];
  const residualOf = (from: number, to: number): number => {
    // Terms x, 1 and d, which is 1 from `from` to before `to` and -1 elsewhere.
    const inside = sums[to].map((value, k) => value - sums[from][k]);
    const [n, x, z, xx, xz, zz] = all;
    const [dn, dx, dz] = [2 * inside[0] - n, 2 * inside[1] - x, 2 * inside[2] - z];
    const fit = solve([
      [xx, x, dx, xz],
      [x, n, dn, z],
      [dx, dn, n, dz],
    ]);
    return fit ? Math.max(0, zz - fit[0] * xz - fit[1] * z - fit[2] * dz) : Number.POSITIVE_INFINITY;
  };
  const search = (isPair: boolean): { edges: [number, number]; residual: number } => {
    let best = { edges: [0, 0] as [number, number], residual: Number.POSITIVE_INFINITY };
    const margin = Math.max(2, Math.ceil(minLevelSamples / every));
    for (let from = margin; from <= count - margin; from++) {
      const ends = isPair
        ? Array.from({ length: Math.max(0, count - 2 * margin - from + 1) }, (_, k) => from + margin + k)
        : [count];
      for (const to of ends) {
        const residual = residualOf(from, to);
        if (residual < best.residual) best = { edges: [from, to], residual };
      }
    }
    return best;
  };
  const flat = residualOfLine(all);
  const [one, two] = [search(false), search(true)];
  const best = two.residual < (1 - minGain) * one.residual && one.residual > 1e-9 * flat ? two : one;
  if (!(best.residual < (1 - minGain) * flat)) return undefined;
  return [best.edges[0] * every, best.edges[1] === count ? samples.length : best.edges[1] * every];
}

/** Before each sample: how many, and the sums of x, z, x², xz and z². */
function runningSums(samples: readonly ProfileSample[]): number[][] {
  const sums = [[0, 0, 0, 0, 0, 0]];
  const mean = samples.reduce((sum, { height }) => sum + height, 0) / samples.length;
  const middle = samples.reduce((sum, { along }) => sum + along, 0) / samples.length;
  for (const { along, height } of samples) {
    const [x, z] = [along - middle, height - mean];
    const terms = [1, x, z, x * x, x * z, z * z];
    const before = sums[sums.length - 1];
    sums.push(terms.map((term, k) => before[k] + term));
  }
  return sums;
}

function residualOfLine([n, x, z, xx, xz, zz]: readonly number[]): number {
  const fit = solve([
    [xx, x, xz],
    [x, n, z],
  ]);
  return fit ? Math.max(0, zz - fit[0] * xz - fit[1] * z) : 0;
}
