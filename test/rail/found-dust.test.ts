import { expect, test } from 'vitest';
import { type FoundDust, knownDust, noteDust } from '../../src/rail/found-dust.js';
import type { DustSpot } from '../../src/rail/sensor-spot.js';

const speck: DustSpot = { x: 276, y: 281, radius: 5 };
const other: DustSpot = { x: 72, y: 17, radius: 5 };

/** What is taken for dust after each of these searches. */
function after(searches: readonly (readonly DustSpot[])[]): DustSpot[][] {
  let found: FoundDust[] = [];
  return searches.map((spots) => {
    found = noteDust(found, spots);
    return knownDust(found);
  });
}

test('a spot that one search alone finds is dropped with the next', () => {
  expect(after([[], [speck], [], []])).toEqual([[], [speck], [], []]);
});

test('a spot that two searches find stays, whether it shows in those that follow or not', () => {
  expect(after([[speck], [], [speck], [], [other]]).map((spots) => spots.length)).toEqual([1, 0, 1, 1, 2]);
});

test('a spot that is found a few pixels off is the same', () => {
  expect(after([[speck], [{ ...speck, x: speck.x - 3 }], []]).at(-1)).toEqual([speck]);
});
