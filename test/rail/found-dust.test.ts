import { expect, test } from 'vitest';
import { type FoundDust, knownDust, noteDust } from '../../src/rail/found-dust.js';
import type { DustSpot } from '../../src/rail/sensor-spot.js';

const speck: DustSpot = { x: 276, y: 281, radius: 5 };
const other: DustSpot = { x: 72, y: 17, radius: 5 };

/** What is taken for dust after each of these searches. */
function after(searches: readonly (readonly DustSpot[])[]): DustSpot[][] {
  let known: FoundDust[] = [];
  return searches.map((spots) => {
    known = noteDust(known, spots);
    return knownDust(known);
  });
}

const times = (count: number, spots: readonly DustSpot[]) => Array.from({ length: count }, () => spots);

test('a spot that the searches after the first do not find again is dropped', () => {
  expect(after([[], [speck], [], []]).map((spots) => spots.length)).toEqual([0, 1, 1, 0]);
  expect(after([[speck], ...times(3, []), [speck], ...times(4, [])]).at(-1)).toEqual([]);
});

test('a spot that most searches find is dust, whether the newest does or not', () => {
  expect(after([[speck], [], [speck], [speck], [speck, other], []]).at(-1)).toEqual([speck, other]);
});

test('dust that many searches found stays where what lies behind it hides it', () => {
  expect(after([...times(10, [speck]), ...times(40, [])]).at(-1)).toEqual([speck]);
});

test('a spot that is found a few pixels off is the same, and lies where it was found last', () => {
  const moved = { ...speck, x: speck.x - 7, y: speck.y + 7 };
  expect(after([[speck], [moved], [moved]]).at(-1)).toEqual([moved]);
});
