import { describe, expect, it } from 'vitest';
import { compareLight, measureLight } from '../../src/register/frame-light.js';
import type { ReducedFrame } from '../../src/register/reduced-frame.js';

const [width, height] = [360, 288];

/** sRGB encoding of linear light, IEC 61966-2-1, in values of 8 or 16 bits. */
function encoded(light: number, bits: 8 | 16): number {
  const share = light <= 0.0031308 ? 12.92 * light : 1.055 * light ** (1 / 2.4) - 0.055;
  return Math.round(share * (2 ** bits - 1));
}

/** Stripes of 8 px between dark and bright, their contrast left to the part `contrast`: blur keeps the mean light. */
function striped(contrast: number, gain: number, bits: 8 | 16): ReducedFrame {
  const samples = width * height * 3;
  const pixels = (bits === 8 ? new Uint8Array(samples) : new Uint16Array(samples)).map((_, i) => {
    const x = Math.floor(i / 3) % width;
    const level = [0.24, 0.18, 0.1][i % 3] * (1 + x / width);
    return encoded(gain * level * (1 + (x % 16 < 8 ? contrast : -contrast)), bits);
  });
  return { number: 1, pixels, width, height, channels: 3, bits, factor: 1 };
}

const still = { a: 1, b: 0, x: 0, y: 0 };

describe('light of two frames', () => {
  it.each([8, 16] as const)('is told by what the lens sums, not by encoded values, %i bits', (bits) => {
    const [sharp, blurred] = [striped(0.8, 1, bits), striped(0.05, 1, bits)];
    const link = compareLight(measureLight(sharp), measureLight(blurred), still, { width, height });
    // Means of encoded values differ by 7 % here.
    for (const value of link!.logRatio) expect(Math.abs(value)).toBeLessThan(0.004);
  });

  it('gives the factor of encoded values', () => {
    const [dim, bright] = [striped(0.05, 0.96, 16), striped(0.05, 1, 16)];
    const link = compareLight(measureLight(dim), measureLight(bright), still, { width, height });
    const mean = ({ pixels }: ReducedFrame, c: number) =>
      Array.from(pixels).reduce((sum, value, i) => sum + (i % 3 === c ? value : 0), 0);
    link!.logRatio.forEach((value, c) => {
      expect(value).toBeGreaterThan(0);
      expect(value / Math.log(mean(bright, c) / mean(dim, c))).toBeGreaterThan(0.85);
      expect(value / Math.log(mean(bright, c) / mean(dim, c))).toBeLessThan(1.15);
    });
  });
});
