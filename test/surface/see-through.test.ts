import { describe, expect, it } from 'vitest';
import { significance, weighVotes } from '../../src/surface/see-through.js';

/** So many blocks whose votes add up to this. */
const blocks = (count: number, vote: number) => Array.from({ length: count }, () => vote);

describe('evidence of blocks for which end is near', () => {
  it('is the Bayes factor of both directions, the mean over how reliable the blocks may be, as standard errors', () => {
    const votes = [3, 1, -0.5, 6];
    // By the rule of Bayes itself, without logarithms.
    const likelihood = (sign: number) =>
      Array.from({ length: 10 }, (_, i) => 0.3 * 2 ** i).reduce(
        (sum, scale, i) =>
          sum +
          2 ** -i *
            votes.reduce((product, vote) => {
              const isRight = (Math.abs(vote) + scale) / (Math.abs(vote) + 2 * scale);
              return product * (vote * sign > 0 ? isRight : 1 - isRight);
            }, 1),
        0,
      );
    const { z, agreement, blocks: count } = weighVotes([...votes, 0]);
    expect(Math.exp((z * z) / 2)).toBeCloseTo(likelihood(1) / likelihood(-1), 6);
    expect(agreement).toBeCloseTo(9.5 / 10.5, 10);
    expect(count).toBe(4);
    expect(weighVotes(votes.map((vote) => -vote)).z).toBe(-z);
  });

  it('grows with blocks that agree, and a few strong ones suffice', () => {
    const found = [2, 4, 6, 8].map((count) => weighVotes(blocks(count, 6)).z);
    expect(found).toEqual(found.toSorted((one, other) => one - other));
    expect(found[0]).toBeLessThan(3);
    expect(found[3]).toBeGreaterThan(3.5);
  });

  it('is small where strong blocks contradict each other, whichever are more', () => {
    expect(weighVotes([...blocks(12, 6), ...blocks(8, -6)]).z).toBeLessThan(2);
    expect(weighVotes([...blocks(12, 6), ...blocks(12, -6)]).z).toBeCloseTo(0, 5);
    // A few that contradict take hardly anything from many.
    expect(weighVotes([...blocks(30, 6), ...blocks(3, -6)]).z).toBeGreaterThan(4);
  });

  it('is small where votes are faint, and none where there are none', () => {
    expect(weighVotes(blocks(6, 0.05)).z).toBeLessThan(weighVotes(blocks(6, 6)).z / 2);
    expect(weighVotes([0, 0])).toEqual({ z: 0, agreement: 0, blocks: 0 });
    expect(weighVotes([])).toEqual({ z: 0, agreement: 0, blocks: 0 });
  });

  it('is as improbable, of few blocks, as Student says: within a tenth of the quantiles of his t', () => {
    // One in 200, one-sided, by degrees of freedom (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2); of a normal distribution 2.576.
    for (const [freedom, quantile] of [
      [3, 5.841],
      [5, 4.032],
      [10, 3.169],
      [30, 2.75],
      [100, 2.626],
    ]) {
      expect(significance(quantile, freedom + 1)).toBeGreaterThan(2.576);
      expect(significance(quantile, freedom + 1)).toBeLessThan(1.1 * 2.576);
      expect(significance(-quantile, freedom + 1)).toBe(-significance(quantile, freedom + 1));
    }
    // What one or two blocks show never suffices, however strong their votes.
    expect(significance(6, 1)).toBe(0);
    expect(significance(0, 0)).toBe(0);
    expect(significance(5, 2)).toBeLessThan(2);
  });
});
