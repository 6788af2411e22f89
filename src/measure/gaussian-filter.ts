/** sqrt(ln 2 / pi), by which the filter lets half of the amplitude pass at the cut-off (ISO 16610-21:2011). */
const alpha = Math.sqrt(Math.LN2 / Math.PI);

/**
 * Blocks that a cut-off holds at least: their means let sinc(1 / 32) = 99.8 % of a wave of that length pass.
 */
const blocksPerCutoff = 32;

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
 * The same filter over an area (ISO 16610-61), which is its profile filter along the rows, then along the columns. Its result
 * is smooth, so where the cut-off is long it is made of the means of blocks.
 *
 * @param values (height, width); NaN: none.
 */
export function meanSurface(
  values: Float32Array,
  width: number,
  height: number,
  cutoff: number,
): Float32Array {
  const block = Math.max(1, Math.floor(cutoff / blocksPerCutoff));
  const [columns, rows] = [Math.ceil(width / block), Math.ceil(height / block)];
  const sums = new Float64Array(columns * rows);
  const counts = new Float64Array(columns * rows);
  for (let i = 0; i < values.length; i++) {
    if (Number.isNaN(values[i])) continue;
    const at = Math.floor(Math.floor(i / width) / block) * columns + Math.floor((i % width) / block);
    sums[at] += values[i];
    counts[at]++;
  }
  const weights = gaussianWeights(cutoff / block);
  const smooth = (cells: Float64Array) =>
    convolve(convolve(cells, columns, rows, weights, 1), columns, rows, weights, columns);
  const [total, weight] = [smooth(sums), smooth(counts)];
  const means = Float32Array.from(total, (sum, i) => (weight[i] > 0 ? sum / weight[i] : Number.NaN));
  return block === 1 ? means : enlarge(means, columns, rows, block, width, height);
}

/** Values between the middles of blocks, linear along both sides. */
function enlarge(
  means: Float32Array,
  columns: number,
  rows: number,
  block: number,
  width: number,
  height: number,
): Float32Array {
  const out = new Float32Array(width * height);
  for (let y = 0; y < height; y++) {
    const v = Math.min(rows - 1, Math.max(0, (y + 0.5) / block - 0.5));
    const top = Math.floor(v);
    const bottom = Math.min(rows - 1, top + 1);
    for (let x = 0; x < width; x++) {
      const u = Math.min(columns - 1, Math.max(0, (x + 0.5) / block - 0.5));
      const left = Math.floor(u);
      const right = Math.min(columns - 1, left + 1);
      const upper = means[top * columns + left] * (1 - u + left) + means[top * columns + right] * (u - left);
      const lower =
        means[bottom * columns + left] * (1 - u + left) + means[bottom * columns + right] * (u - left);
      out[y * width + x] = upper * (1 - v + top) + lower * (v - top);
    }
  }
  return out;
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
