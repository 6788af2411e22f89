import { expect, it } from 'vitest';
import { peakPower } from '../../src/model/constants/model.js';
import {
  blurOfBend,
  distanceOfFalloff,
  falloffAt,
  levelAboveNoise,
  lossOfBend,
  widthOfBend,
} from '../../src/model/optical-model.js';
import { besselJ1 } from '../bessel-j1.js';

it('the distance of a falloff is the inverse of the falloff', () => {
  for (const falloff of [0.1, 0.5, 2])
    expect(-falloffAt(distanceOfFalloff(falloff, 0.8), 0.8)).toBeCloseTo(falloff, 9);
});

it('near its peak a focus curve is the squared contrast of the blur disc', () => {
  for (const z of [0.2, 0.5, 0.9, 1.3]) {
    const disc = (2 * besselJ1(z)) / z;
    // With w = sqrt(4 peakPower) / (omega kappa) the second orders agree, and the fourth
    // differ by (9 - 5) / 192 (series of J1: Abramowitz & Stegun 1964, 9.1.10).
    const curve = (1 + z ** 2 / (4 * peakPower)) ** -peakPower;
    expect(Math.abs(curve - disc ** 2)).toBeLessThan(0.022 * z ** 4);
  }
});

it('energy is compared above noise, and not below half of it', () => {
  expect(levelAboveNoise(10, 2)).toBeCloseTo(Math.log(8), 12);
  expect(levelAboveNoise(2.5, 2)).toBeCloseTo(0, 12);
  expect(levelAboveNoise(0, 2)).toBeCloseTo(0, 12);
  expect(levelAboveNoise(Number.NaN, 2)).toBeNaN();
});

it('width, blur and loss of contrast follow from the bend of a curve at its peak', () => {
  const width = 1.7;
  const bend = (4 * Math.log1p(1 / width ** 2)) / Math.LN2;
  expect(widthOfBend(bend)).toBeCloseTo(width, 9);
  // Under little blur the disc gives the bend, twice the octaves that a step costs (Abramowitz & Stegun 1964, 9.1.10).
  const [kappaPx, frequency] = [0.15, 0.27];
  const z = 2 * Math.PI * frequency * kappaPx;
  const contrast = (2 * besselJ1(z)) / z;
  expect(blurOfBend(-4 * Math.log2(contrast), frequency) / kappaPx).toBeCloseTo(1, 2);
  expect(lossOfBend(-4 * Math.log2(contrast)) / (1 - contrast)).toBeCloseTo(1, 2);
});
