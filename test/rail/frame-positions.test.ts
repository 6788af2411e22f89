import { describe, expect, test } from 'vitest';
import { createRandom } from '../../samples/random.js';
import { focusCurves } from '../../src/rail/focus-curves.js';
import { framePositions } from '../../src/rail/frame-positions.js';
import { railTravel } from '../../src/rail/rail-travel.js';
import { madeCurves, range, spread } from './made-curves.js';

/** Steps between the frames as found, and as made, both in the middle one of those made. */
function stepsOf(frames: readonly number[], tiles: readonly number[], seed: number) {
  const curves = focusCurves(madeCurves({ frames, tiles, seed }));
  const kept = range(frames.length);
  const positions = framePositions(
    curves,
    railTravel(curves, new Set()),
    kept,
    kept.map((k) => k + 1),
  );
  const between = (values: readonly number[]) => values.slice(1).map((value, k) => value - values[k]);
  const made = between(frames);
  const usual = [...made].sort((p, q) => p - q)[made.length >> 1];
  return { found: between(positions), made: made.map((step) => step / usual) };
}

function unevenFrames(count: number, part: number, seed: number): number[] {
  const random = createRandom(seed, 'uneven frames');
  const positions = [0];
  while (positions.length < count)
    positions.push(positions[positions.length - 1] + random.between(1 - part, 1 + part));
  return positions;
}

const rms = (values: readonly number[]) =>
  Math.sqrt(values.reduce((sum, v) => sum + v * v, 0) / values.length);

describe('positions of frames', () => {
  test.each([1, 2, 3])('distinguish uneven steps of a rail, seed %i', (seed) => {
    const frames = unevenFrames(20, 0.2, seed);
    const { found, made } = stepsOf(frames, spread(500, 0, frames[19]), seed);
    // What counts for depth is how a step differs from the next.
    const changes = (steps: readonly number[]) => steps.slice(1).map((step, k) => step - steps[k]);
    const errors = changes(found).map((change, k) => change - changes(made)[k]);
    expect(rms(errors)).toBeLessThan(0.3 * rms(changes(made)));
  });

  test.each([1, 2, 3])('leave even steps even, seed %i', (seed) => {
    const { found } = stepsOf(range(20), spread(500, 0, 19), seed);
    expect(Math.max(...found.map((step) => Math.abs(step - 1)))).toBeLessThan(0.05);
  });

  test.each([
    [1, 1.6, 2.4],
    [2, 2.2, 4],
    [5, 2.2, 9],
  ])('show where %i frames are missing', (missing, least, most) => {
    const frames = range(20 + missing).filter((k) => k < 8 || k >= 8 + missing);
    const { found } = stepsOf(frames, spread(500, 0, 19 + missing), 1);
    expect(found[7]).toBeGreaterThan(least);
    expect(found[7]).toBeLessThan(most);
    expect(found.filter((step) => step > 1.3)).toHaveLength(1);
  });

  test('count a frame that is left out as a step', () => {
    const curves = focusCurves(madeCurves({ frames: range(16), tiles: spread(400, 0, 15) }));
    const kept = range(16).filter((k) => k !== 6);
    const blurred = new Set([6]);
    const positions = framePositions(
      curves,
      railTravel(curves, blurred),
      kept,
      kept.map((k) => k + 1),
    );
    expect(positions[6] - positions[5]).toBeGreaterThan(1.8);
    expect(positions[6] - positions[5]).toBeLessThan(2.2);
  });

  test('are those of the numbers where nothing else is known', () => {
    const curves = focusCurves(madeCurves({ frames: range(6), tiles: [2, 3] }));
    const positions = framePositions(curves, railTravel(curves, new Set()), range(6), [1, 2, 3, 6, 7, 8]);
    expect(positions).toEqual([0, 1, 2, 5, 6, 7]);
  });
});
