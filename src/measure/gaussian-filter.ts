/** sqrt(ln 2 / pi), by which the filter lets half of the amplitude pass at the cut-off (ISO 16610-21:2011). */
const alpha = Math.sqrt(Math.LN2 / Math.PI);

/** Weights are taken up to this many cut-offs from the middle; beyond lies less than 2e-6 of them. */
const reachCutoffs = 1;

/**
 * The linear Gaussian profile filter of ISO 16610-21: the mean line of a profile, with the weighting function
 * s(x) = exp(-pi (x / (alpha c))^2) / (alpha c) for the cut-off wavelength c. Weights are those of the samples that
 * there are, so that gaps and ends have a mean line too; near them it follows less of the profile.
 *
 * @param values NaN: none.
 * @param cutoff In samples.
 * @returns NaN where no sample lies within reach.
 */
export function meanLine(values: ArrayLike<number>, cutoff: number): Float64Array {
  const weights = gaussianWeights(cutoff);
  const reach = weights.length - 1;
  const mean = new Float64Array(values.length);
  for (let i = 0; i < values.length; i++) {
    let sum = 0;
    let total = 0;
    const to = Math.min(values.length - 1, i + reach);
    for (let j = Math.max(0, i - reach); j <= to; j++) {
      const value = values[j];
      if (Number.isNaN(value)) continue;
      const weight = weights[Math.abs(j - i)];
      sum += weight * value;
      total += weight;
    }
    mean[i] = total > 0 ? sum / total : Number.NaN;
  }
  return mean;
}

/**
 * The same filter over an area (ISO 16610-61), which is its profile filter along the rows, then along the columns.
 *
 * @param values (height, width); NaN: none.
 */
export function meanSurface(
  values: Float64Array,
  width: number,
  height: number,
  cutoff: number,
): Float64Array {
  const weights = gaussianWeights(cutoff);
  const known = Float64Array.from(values, (value) => (Number.isNaN(value) ? 0 : 1));
  const filled = values.map((value) => (Number.isNaN(value) ? 0 : value));
  const sums = convolve(convolve(filled, width, height, weights, 1), width, height, weights, width);
  const totals = convolve(convolve(known, width, height, weights, 1), width, height, weights, width);
  return sums.map((sum, i) => (totals[i] > 0 ? sum / totals[i] : Number.NaN));
}

/** Along rows (`stride` 1) or columns (`stride` the width); beyond the edges there is nothing. */
function convolve(
  values: Float64Array,
  width: number,
  height: number,
  weights: Float64Array,
  stride: number,
): Float64Array {
  const out = new Float64Array(values.length);
  const length = stride === 1 ? width : height;
  const reach = weights.length - 1;
  for (let i = 0; i < values.length; i++) {
    const at = stride === 1 ? i % width : Math.floor(i / width);
    const to = Math.min(length - 1 - at, reach);
    let sum = 0;
    for (let k = Math.max(-at, -reach); k <= to; k++) sum += weights[Math.abs(k)] * values[i + k * stride];
    out[i] = sum;
  }
  return out;
}

/** Weights by distance from the middle. */
function gaussianWeights(cutoff: number): Float64Array {
  const reach = Math.max(1, Math.ceil(reachCutoffs * cutoff));
  return Float64Array.from({ length: reach + 1 }, (_, x) => Math.exp(-Math.PI * (x / (alpha * cutoff)) ** 2));
}
