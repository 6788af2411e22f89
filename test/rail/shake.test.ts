import { describe, expect, test } from 'vitest';
import { blurredFrames } from '../../src/rail/blurred-frames.js';
import { focusCurves } from '../../src/rail/focus-curves.js';
import { measureShake } from '../../src/rail/shake.js';
import type { TileCurves } from '../../src/rail/tile-curves.js';
import type { FrameMotion } from '../../src/register/motion-solution.js';
import { madeCurves, range, spread } from './made-curves.js';
import { stillMotion } from './still-motion.js';

const tiles = spread(300, 1, 14);
const frames = range(16);

function motions(sharpness: (k: number) => number = () => 1): FrameMotion[] {
  return frames.map((k) => stillMotion(k + 1, { sharpness: sharpness(k) }));
}

function blurred(curves: TileCurves, sharpness?: (k: number) => number): number[] {
  const focus = focusCurves(curves);
  return [...blurredFrames(measureShake(curves, focus.noise), motions(sharpness))];
}

test.each([0, 7, 15])('a frame that lost detail in one direction is shaken: index %i', (shaken) => {
  const curves = madeCurves({
    frames,
    tiles,
    loss: (k, direction) => (k === shaken && direction === 0 ? 0.25 : 1),
  });
  expect(blurred(curves)).toEqual([shaken]);
});

test.each([0, 3, 9])('a shake along a diagonal counts as well: index %i', (shaken) => {
  const losses = [0.6, 0.6, 0.3, 1];
  const curves = madeCurves({
    frames,
    tiles,
    loss: (k, direction) => (k === shaken ? losses[direction] : 1),
  });
  expect(blurred(curves)).toEqual([shaken]);
});

test.each([1, 14])('a shaken frame next to an end is distinguished from the end: index %i', (shaken) => {
  const curves = madeCurves({
    frames,
    tiles,
    loss: (k, direction) => (k === shaken && direction === 0 ? 0.25 : 1),
  });
  expect(blurred(curves)).toEqual([shaken]);
});

test('a frame that lost detail in all directions counts when registration finds it soft too', () => {
  const curves = madeCurves({ frames, tiles, loss: (k) => (k === 8 ? 0.2 : 1) });
  expect(blurred(curves, (k) => (k === 8 ? 0.5 : 1))).toEqual([8]);
});

test('defocus is no shake, nor is the light of a frame', () => {
  expect(blurred(madeCurves({ frames, tiles }))).toEqual([]);
  expect(blurred(madeCurves({ frames, tiles, loss: (k) => (k === 8 ? 0.8 : 1) }))).toEqual([]);
});

test.each([
  ['few tiles, which scatter', 0.09, 1, []],
  ['many tiles', 0.03, 1, [15]],
  ['few tiles, and registration', 0.09, 0.6, [15]],
] as const)('anisotropy measured on %s', (_, anisotropySigma, sharpness, expected) => {
  const shakes = frames.map((k) => ({
    anisotropy: k === 15 ? 0.21 : 0.03,
    anisotropySigma,
    dip: Number.NaN,
  }));
  const found = blurredFrames(
    shakes,
    motions((k) => (k === 15 ? sharpness : 1)),
  );
  expect([...found]).toEqual(expected);
});

test.each([4, 25])(
  'the error of unevenness falls with the root of the number of tiles: %i times as many',
  (times) => {
    const errorOf = (count: number) => {
      const curves = madeCurves({ frames, tiles: spread(count, 5, 9) });
      return measureShake(curves, focusCurves(curves).noise)[7].anisotropySigma;
    };
    expect(errorOf(20) / errorOf(20 * times)).toBeGreaterThan(0.6 * Math.sqrt(times));
    expect(errorOf(20) / errorOf(20 * times)).toBeLessThan(1.7 * Math.sqrt(times));
  },
);

describe('a thin subject in 10 frames', () => {
  const planes = range(10);
  /** Registration finds all frames softer than those around: the worst that it can say of them. */
  const soft = planes.map((k) => stillMotion(k + 1, { sharpness: 0.5 }));
  const found = (curves: TileCurves) => {
    const focus = focusCurves(curves);
    return [...blurredFrames(measureShake(curves, focus.noise), soft)];
  };
  // Blur of a step as on a rail and as under a microscope, and where between two planes of focus the subject lies.
  const cases = [1.6, 5, 10, 14].flatMap((blur) => [4, 4.25, 4.5].map((at) => [blur, at] as const));

  test.each(cases)('has no shaken frame: blur %d px a step, subject at %d', (blurPerStepPx, at) => {
    const tiles = spread(60, at - 0.1, at + 0.1);
    expect(found(madeCurves({ frames: planes, tiles, blurPerStepPx, usualEnergy: 4000 }))).toEqual([]);
  });

  test('has none by a lens whose blur is drawn out across before focus and upright behind it', () => {
    const tiles = spread(60, 4.2, 4.8);
    // Astigmatism: of two lines that cross, one comes into focus before the other; defocus takes the other's detail.
    const loss = (k: number, direction: number) =>
      (direction === 0 && k < 4) || (direction === 1 && k > 5) ? 0.6 : 1;
    expect(found(madeCurves({ frames: planes, tiles, loss }))).toEqual([]);
  });

  test.each([4, 5])('reports a frame that is shaken: index %i', (shaken) => {
    const tiles = spread(60, 4.2, 4.8);
    const loss = (k: number, direction: number) => (k === shaken && direction === 0 ? 0.3 : 1);
    expect(found(madeCurves({ frames: planes, tiles, loss }))).toEqual([shaken]);
  });
});
