/** A number with its standard uncertainty. */
export interface Uncertain {
  value: number;
  sigma: number;
}

/** Standard uncertainties that an interval reaches to either side: about 95 of 100 cases of normal errors. */
export const coverageFactor = 2;

/**
 * A function of independent inputs, with the standard uncertainty that follows from theirs: the root sum of squares of what
 * each moves it by (Guide to the Expression of Uncertainty in Measurement, JCGM 100:2008, 5.1.2, slopes by central
 * differences).
 */
export function propagate(
  inputs: readonly Uncertain[],
  compute: (values: readonly number[]) => number,
): Uncertain {
  const values = inputs.map(({ value }) => value);
  const variance = inputs.reduce((sum, { sigma }, i) => {
    if (sigma === 0) return sum;
    const moved = [...values];
    moved[i] += sigma;
    const above = compute(moved);
    moved[i] -= 2 * sigma;
    return sum + ((above - compute(moved)) / 2) ** 2;
  }, 0);
  return { value: compute(values), sigma: Math.sqrt(variance) };
}
