import { expect, test } from 'vitest';
import { pickRuns } from '../../src/rail/pick-runs.js';

test.each([4, 24, 36])('a stack of %i frames is one run of 12 or three that would meet', (count) => {
  expect(pickRuns(count, 12)).toEqual([Array.from({ length: count }, (_, k) => k)]);
});

test('a longer stack gives three runs, at both ends and in the middle', () => {
  const runs = pickRuns(100, 12);
  expect(runs.map((run) => [run[0], run.at(-1)])).toEqual([
    [0, 11],
    [44, 55],
    [88, 99],
  ]);
});
