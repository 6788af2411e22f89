import { describe, expect, it } from 'vitest';
import { createStencilTable, discVariance, discWeights } from '../../samples/stencil.js';
import { besselJ1 } from '../bessel-j1.js';

/** Weights that a table's stencil lays around the middle of a grid, by summing its steps along the rows. */
function unfolded(radiusPx: number, side: number, stride: number): Float64Array {
  const { offsets, steps } = createStencilTable(stride).get(radiusPx, side);
  const grid = new Float64Array(stride * stride);
  const middle = Math.floor(stride / 2) * (stride + 1);
  for (let i = 0; i < offsets.length; i++) grid[middle + offsets[i]] += steps[i];
  for (let i = 1; i < grid.length; i++) grid[i] += grid[i - 1];
  return grid;
}

describe('blur disc', () => {
  it('has the second moment of an ideal disc, r²/4, at every radius', () => {
    for (const radius of [0.1, 0.4, 0.7, 1, 1.6, 2.3, 5, 11.7, 30]) {
      expect(discVariance(discWeights(radius))).toBeCloseTo(radius ** 2 / 4, 6);
    }
  });

  it('takes from detail what an ideal disc does, 2 J1(x) / x, at small radii too', () => {
    // Transform of a disc: R. N. Bracewell, The Fourier Transform and Its Applications (from memory); J1 by Bessel's integral.
    for (const radius of [0.2, 0.35, 0.5, 0.7, 1, 1.4, 2]) {
      const { reach, weights } = discWeights(radius);
      const side = 2 * reach + 1;
      for (const [period, tolerance] of [
        [4, 0.045],
        [6, 0.015],
        [10, 0.003],
      ]) {
        const omega = (2 * Math.PI) / period;
        const kept = weights.reduce((sum, w, i) => sum + w * Math.cos(omega * ((i % side) - reach)), 0);
        const x = omega * radius;
        expect(Math.abs(kept - (2 * besselJ1(x)) / x)).toBeLessThan(tolerance);
      }
    }
  });

  it('is even inside and empty outside its rim', () => {
    const { reach, weights } = discWeights(10);
    const side = 2 * reach + 1;
    const inside = 1 / (Math.PI * 100);
    for (let i = 0; i < weights.length; i++) {
      const distance = Math.hypot((i % side) - reach, Math.floor(i / side) - reach);
      if (distance < 9) expect(weights[i]).toBeCloseTo(inside, 4);
      if (distance > 11) expect(weights[i]).toBe(0);
    }
  });

  it('sums to one whatever its radius and block', () => {
    for (const [radius, side] of [
      [0, 1],
      [0.3, 1],
      [6.9, 1],
      [8, 3],
      [20, 5],
      [40, 9],
    ]) {
      const sum = unfolded(radius, side, 121).reduce((total, value) => total + value, 0);
      expect(sum).toBeCloseTo(1, 4);
    }
  });

  it('fills a plane evenly when blocks lie side by side', () => {
    const stride = 121;
    const disc = unfolded(12, 3, stride);
    const field = new Float64Array(9);
    // Light that the blocks of a whole lattice of pitch 3 bring to each of the 9 places in a block.
    disc.forEach((value, i) => {
      field[(Math.floor(i / stride) % 3) * 3 + ((i % stride) % 3)] += value;
    });
    for (const value of field) expect(value).toBeCloseTo(1 / 9, 6);
  });
});
