import { expect, test } from 'vitest';
import { equaliseNoise, noiseEnergy } from '../../src/rail/tile-noise.js';
import { madeCurves, range, spread } from './made-curves.js';

const frames = range(12);
const curves = () => madeCurves({ frames, tiles: spread(300, 1, 10) });

/** Gives the first `count` tiles this brightness, and noise alone of this energy. */
function withGround(count: number, brightness: number, energy: number) {
  const made = curves();
  made.light.fill(brightness, 0, count);
  made.energy.fill(energy, 0, count * frames.length * 4);
  return made;
}

test('noise is that of the tiles between black and white, however much of the picture is cut off', () => {
  const usual = noiseEnergy(curves());
  expect(noiseEnergy(withGround(150, 2, 0))).toBeCloseTo(usual, 0);
  expect(noiseEnergy(withGround(150, 252, 0))).toBeCloseTo(usual, 0);
});

test('a dark ground with more noise is brought down to the others, one with less is left alone', () => {
  const loud = withGround(150, 5, 20);
  equaliseNoise(loud);
  expect(loud.energy[0]).toBeCloseTo(noiseEnergy(loud), 1);
  const rest = loud.energy.slice(150 * frames.length * 4);
  expect(rest).toEqual(curves().energy.slice(150 * frames.length * 4));
  const quiet = withGround(150, 5, 0.5);
  equaliseNoise(quiet);
  expect(quiet.energy[0]).toBeCloseTo(0.5, 6);
});
