import { expect, test } from 'vitest';
import { createRandom } from '../../samples/random.js';
import { focusCurves } from '../../src/rail/focus-curves.js';
import { railTravel } from '../../src/rail/rail-travel.js';
import { madeCurves, range, spread } from './made-curves.js';

function travel(frames: number[], seed = 1, blurred = new Set<number>()) {
  const [low, high] = [Math.min(...frames), Math.max(...frames)];
  const tiles = spread(400, low + 0.5, high - 0.5);
  return railTravel(focusCurves(madeCurves({ frames, tiles, seed })), blurred);
}

test.each([1, 2, 3])('even steps are even, seed %i', (seed) => {
  const { steps, positions } = travel(range(20), seed);
  for (const step of steps) {
    expect(step).toBeGreaterThan(0.75);
    expect(step).toBeLessThan(1.3);
  }
  expect(positions).toHaveLength(20);
});

test.each([5, 9, 13])('a step missed after frame %i is about twice as long as the others', (missing) => {
  const { steps } = travel(range(21).filter((k) => k !== missing));
  expect(steps[missing - 1]).toBeGreaterThan(1.5);
  expect(steps.filter((step) => step > 1.45)).toHaveLength(1);
});

test.each([1, 2, 3])(
  'a missed step is no shorter for what lies in it: that changes little across it, seed %i',
  (seed) => {
    const tiles = [...spread(400, 0.5, 16.5), ...spread(75, 7.6, 8.4)];
    const curves = focusCurves(madeCurves({ frames: range(18).filter((k) => k !== 8), tiles, seed }));
    const { steps } = railTravel(curves, new Set());
    expect(steps[7]).toBeGreaterThan(1.7);
    expect(steps[7]).toBeLessThan(2.3);
    expect(steps.filter((step) => step > 1.45)).toHaveLength(1);
  },
);

test('a step that was not taken is near none', () => {
  const { steps } = travel([...range(8), 7, ...range(12).map((k) => k + 8)]);
  expect(Math.abs(steps[7])).toBeLessThan(0.3);
  expect(steps.filter((step) => Math.abs(step) < 0.4)).toHaveLength(1);
});

test('a rail that turned back and on again is found to turn both times', () => {
  const { steps } = travel([0, 1, 2, 3, 4, 5, 9, 8, 7, 6, 10, 11, 12, 13, 14, 15, 16, 17]);
  expect(steps.flatMap((step, k) => (step < 0 ? [k] : []))).toEqual([6, 7, 8]);
});

test('whichever way the stack was shot, travel counts forward', () => {
  expect(Math.min(...travel(range(16).reverse()).steps)).toBeGreaterThan(0);
});

test('steps to and from a blurred frame are not known, and do not upset the others', () => {
  const { steps } = travel(range(16), 1, new Set([6]));
  expect(steps.flatMap((step, k) => (Number.isNaN(step) ? [k] : []))).toEqual([5, 6]);
  expect(Math.min(...steps.filter((step) => !Number.isNaN(step)))).toBeGreaterThan(0.7);
});

test('where steps are too small to change what is seen, a few unsteady tiles make no turn', () => {
  const positions = range(40).map((k) => 0.12 * k);
  const made = madeCurves({ frames: positions, tiles: spread(300, 0, 5) });
  const random = createRandom(1, 'unsteady');
  // Every eighth tile is up or down by chance, as with strong noise or things that sway.
  for (let at = 0; at < made.energy.length; at += 4) {
    const tile = Math.floor(at / (4 * positions.length));
    if (tile % 8 === 0)
      made.energy.subarray(at, at + 4).fill(made.energy[at] * (random.unit() < 0.5 ? 1 : 3));
  }
  expect(railTravel(focusCurves(made), new Set()).steps.filter((step) => step < 0)).toEqual([]);
});

test.each([
  [4.5, 1.6],
  [4.2, 3],
  [4.3, 6],
  [5, 2.5],
])(
  'a subject thinner than a step, at %f, shows no turn and no long step, blur %f px a step',
  (at, blurPerStepPx) => {
    // Ten planes through a smear: all of it gets sharper at once, and softer again.
    const tiles = spread(300, at - 0.15, at + 0.15);
    for (const seed of [1, 2]) {
      const { steps } = railTravel(
        focusCurves(madeCurves({ frames: range(10), tiles, blurPerStepPx, seed })),
        new Set(),
      );
      expect(steps.filter((step) => step < 0 || step > 1.45)).toEqual([]);
    }
  },
);
