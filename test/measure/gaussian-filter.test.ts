import { describe, expect, it } from 'vitest';
import { meanLine, meanSurface } from '../../src/measure/gaussian-filter.js';
import { seededRandom } from '../outside/seeded-random.js';

/** ISO 16610-21, 4.3: share of the amplitude of a wave that the mean line keeps. */
const transmission = (cutoff: number, wavelength: number) =>
  Math.exp(-Math.log(2) * (cutoff / wavelength) ** 2);

/** Amplitude of the wave in the middle of a filtered profile. */
function amplitudeOf(mean: ArrayLike<number>, wavelength: number, from: number, to: number): number {
  let [sine, cosine] = [0, 0];
  for (let i = from; i < to; i++) {
    sine += mean[i] * Math.sin((2 * Math.PI * i) / wavelength);
    cosine += mean[i] * Math.cos((2 * Math.PI * i) / wavelength);
  }
  return (2 * Math.hypot(sine, cosine)) / (to - from);
}

describe('the Gaussian filter', () => {
  it.each([
    [40, 40],
    [40, 80],
    [40, 20],
    [160, 160],
    [160, 320],
  ])(
    'of cut-off %i keeps of a wave of %i what the standard says, along a line and over an area',
    (cutoff, wavelength) => {
      const width = 10 * wavelength;
      const height = 24;
      const wave = (i: number) => Math.sin((2 * Math.PI * i) / wavelength);
      const line = Float32Array.from({ length: width }, (_, i) => wave(i));
      const truth = transmission(cutoff, wavelength);
      const [from, to] = [2 * wavelength, 8 * wavelength];
      expect(amplitudeOf(meanLine(line, cutoff), wavelength, from, to)).toBeCloseTo(truth, 3);
      const area = Float32Array.from({ length: width * height }, (_, i) => wave(i % width));
      const row = meanSurface(area, width, height, cutoff).subarray(12 * width, 13 * width);
      expect(Math.abs(amplitudeOf(row, wavelength, from, to) - truth)).toBeLessThan(0.004);
    },
  );

  it('is the weighted mean of what there is, beside gaps and edges too', () => {
    const random = seededRandom(5);
    const [width, height, cutoff] = [37, 23, 9.5];
    const values = Float32Array.from({ length: width * height }, () =>
      random() < 0.1 ? Number.NaN : random(),
    );
    const alpha = Math.sqrt(Math.log(2) / Math.PI);
    const weight = (d: number) =>
      d > Math.ceil(cutoff) ? 0 : Math.exp(-Math.PI * (d / (alpha * cutoff)) ** 2);
    const mean = meanSurface(values, width, height, cutoff);
    for (const [x, y] of [
      [0, 0],
      [18, 11],
      [36, 5],
    ]) {
      let [sum, total] = [0, 0];
      values.forEach((value, i) => {
        if (Number.isNaN(value)) return;
        const w = weight(Math.abs((i % width) - x)) * weight(Math.abs(Math.floor(i / width) - y));
        sum += w * value;
        total += w;
      });
      expect(mean[y * width + x]).toBeCloseTo(sum / total, 5);
    }
  });
});
