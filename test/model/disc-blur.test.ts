import { describe, expect, it } from 'vitest';
import { blurFrom, maxBlur, slopeShare } from '../../src/model/disc-blur.js';

/** Mean of f over a disc of radius 1. */
function overDisc(f: (a: number, b: number) => number): number {
  const side = 200;
  let sum = 0;
  let count = 0;
  for (let i = 0; i < side; i++) {
    for (let j = 0; j < side; j++) {
      const [a, b] = [(2 * i + 1) / side - 1, (2 * j + 1) / side - 1];
      if (a * a + b * b > 1) continue;
      sum += f(a, b);
      count++;
    }
  }
  return sum / count;
}

describe('the blur of a disc', () => {
  it('is read back from the energy that it leaves', () => {
    for (const z of [0.3, 0.8, 1.5, 2.2]) {
      const contrast = overDisc((a) => Math.cos(z * a));
      expect(Math.abs(blurFrom(contrast ** 2) - z)).toBeLessThan(0.02);
    }
    expect(blurFrom(1)).toBe(0);
    expect(blurFrom(0)).toBeCloseTo(maxBlur, 6);
    // Where the slope of 2 J1(z) / z, -2 J2(z) / z, is steepest: z J1(z) = 3 J2(z) (Abramowitz & Stegun 9.1.30).
    expect(Math.abs(maxBlur - 2.29991)).toBeLessThan(0.01);
  });

  it('shifts a wave on a slope as the mean over the lens does', () => {
    // Blur w at x = 0 growing by g: the lens point a sees at 0 what lies at -a w / (1 + a g). Wave number 1.
    const g = 0.002;
    const seen = (w: number) => {
      const depthIndex = (a: number) => (-a * w) / (1 + a * g);
      const re = overDisc((a) => Math.cos(depthIndex(a)));
      const im = overDisc((a) => Math.sin(depthIndex(a)));
      return { shift: Math.atan2(im, re), logContrast: 0.5 * Math.log(re * re + im * im) };
    };
    for (const z of [0.4, 1, 1.6, 2.2]) {
      const dw = 0.02;
      const shifted = seen(z + dw).shift - seen(z - dw).shift;
      // The model takes for a shift the growth of the fading from place to place.
      const fading = (w: number) => (seen(w + dw).logContrast - seen(w - dw).logContrast) / (2 * dw);
      const modelled = -g * (fading(z + dw) - fading(z - dw));
      expect(Math.abs(shifted / modelled - slopeShare(z))).toBeLessThan(0.03);
    }
    expect(slopeShare(0)).toBeCloseTo(1, 4);
  });
});
