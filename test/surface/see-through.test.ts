import { describe, expect, it } from 'vitest';
import { standardErrors } from '../../src/surface/see-through.js';

const errorsOf = (votes: readonly number[]) =>
  standardErrors(
    votes.reduce((sum, vote) => sum + vote, 0),
    votes.reduce((sum, vote) => sum + vote * vote, 0),
    votes.length,
  );

/** Votes of this mean, half of them this far above and below it. */
const spread = (count: number, mean: number, deviation: number) =>
  Array.from({ length: count }, (_, k) => mean + (k % 2 === 0 ? deviation : -deviation));

describe('votes as standard errors', () => {
  it('are as improbable as Student’s t of the votes', () => {
    // t = mean / (s / sqrt n); two-sided 5 % and 0.1 % points of Student's t for 10, 20 and 30 degrees of freedom (tables of
    // W. S. Gosset's distribution) stand at 1.960 and 3.291 of the normal distribution.
    for (const [freedom, t, z] of [
      [10, 2.228, 1.96],
      [20, 2.086, 1.96],
      [30, 2.042, 1.96],
      [20, 3.85, 3.291],
      [30, 3.646, 3.291],
    ]) {
      const n = freedom + 1;
      // Sums of votes of mean m and sample deviation s = 1.
      const mean = t / Math.sqrt(n);
      const found = standardErrors(n * mean, freedom + n * mean * mean, n);
      expect(found).toBeCloseTo(z, 1);
      expect(standardErrors(-n * mean, freedom + n * mean * mean, n)).toBe(-found);
    }
  });

  it('approach mean over standard error where there are many', () => {
    expect(errorsOf(spread(4000, 0.05, 1))).toBeCloseTo(0.05 * Math.sqrt(4000), 1);
  });

  it('are never more than equal signs can show: one in 2^n', () => {
    for (const count of [1, 2, 8, 12, 30]) {
      // P(Z > z) < exp(-z^2 / 2) / 2 for the normal distribution (Chernoff).
      expect(Math.exp(-(errorsOf(spread(count, 0.8, 0)) ** 2) / 2)).toBeCloseTo(2 ** -count, 10);
    }
    expect(errorsOf(spread(8, -0.8, 0))).toBe(-errorsOf(spread(8, 0.8, 0)));
  });

  it('are 0 where they balance', () => {
    expect(errorsOf(spread(20, 0, 0.7))).toBeCloseTo(0, 10);
  });
});
