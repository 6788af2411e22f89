import { expect, test } from 'vitest';
import { falloffAt } from '../../src/model/optical-model.js';
import { focusAhead } from '../../src/rail/focus-ahead.js';
import type { FocusCurves } from '../../src/rail/focus-curves.js';
import { seededRandom } from '../outside/seeded-random.js';

const frames = 12;
const width = 9;
const positions = Array.from({ length: frames }, (_, k) => k);

/** Curves of tiles that are in focus so many steps beyond the last frame (negative: before it), each of its own height. */
function curvesOf(distances: readonly number[], scatter: number): FocusCurves {
  const random = seededRandom(5);
  const level = new Float32Array(distances.length * frames);
  distances.forEach((distance, tile) => {
    const height = 4 + 3 * random();
    for (let k = 0; k < frames; k++) {
      const off = distance + frames - 1 - k;
      level[tile * frames + k] = height + falloffAt(off, width) + scatter * (random() - 0.5);
    }
  });
  return { columns: distances.length, rows: 1, frames, level, noise: 1, floor: Math.log(0.5) };
}

test.each([5, 8, 14, 20])(
  'tiles that come into focus in %d steps are told so, within a fifth',
  (distance) => {
    const found = focusAhead(curvesOf(new Array<number>(40).fill(distance), 0.02), positions, width);
    expect(found.length).toBeGreaterThan(30);
    const middle = found.toSorted((one, other) => one - other)[found.length >> 1];
    expect(Math.abs(middle / distance - 1)).toBeLessThan(0.2);
  },
);

test('tiles that were in focus already, or show nothing, are not among them', () => {
  const done = Array.from({ length: 40 }, (_, i) => -1 - (i % 8));
  expect(focusAhead(curvesOf(done, 0.02), positions, width)).toEqual([]);
  const flat = { ...curvesOf(done, 0), level: new Float32Array(40 * frames).fill(-3) };
  expect(focusAhead(flat, positions, width)).toEqual([]);
});
