/** Middle value of a list (mean of the two middle ones when even); NaN when empty. Sorts a copy. */
export function median(values: ArrayLike<number>): number {
  const sorted = Float64Array.from(values).sort();
  const half = sorted.length >> 1;
  if (sorted.length === 0) return Number.NaN;
  return sorted.length % 2 === 1 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2;
}

/** Standard deviation judged from the median absolute deviation: 1.4826 MAD, exact for a normal law. */
export function robustDeviation(values: ArrayLike<number>): number {
  const centre = median(values);
  return 1.4826 * median(Float64Array.from(values, (value) => Math.abs(value - centre)));
}
