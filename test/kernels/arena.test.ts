import { expect, it } from 'vitest';
import { Arena } from '../../src/kernels/arena.js';

it('cleared planes hold zeros, row ends included, on memory that was written before and on memory beyond it', () => {
  const arena = new Arena();
  const mark = arena.mark();
  const used = arena.take(30_000);
  arena.u8(used, 30_000).fill(255);
  arena.release(mark);
  // More than was taken before: the first rows lie on written memory, the last ones beyond.
  const planes = arena.takeCleared(100, 100, 3, 2);
  const start = planes.pointer - 16 * planes.elementBytes;
  expect(start).toBeLessThan(used + 30_000);
  expect(start + planes.planeBytes * 3).toBeGreaterThan(used + 30_000);
  expect(arena.u8(start, planes.planeBytes * 3).every((byte) => byte === 0)).toBe(true);
});

it('takes in a region that has served what fits there, one after the other, and the rest as usual', () => {
  const arena = new Arena();
  const from = arena.mark();
  arena.take(10_000);
  const region = { from, to: arena.mark() };
  const kept = arena.take(500);
  arena.u8(kept, 500).fill(7);
  const first = arena.takeWithin(region, () => [arena.take(3000), arena.take(3000)]);
  const second = arena.takeWithin(region, () => arena.take(3000));
  const large = arena.takeWithin(region, () => arena.takeCleared(100, 100, 1, 4));
  const taken = [...first, second].toSorted((one, other) => one - other);
  expect(taken.every((at, i) => at >= from && at + 3000 <= (taken[i + 1] ?? kept))).toBe(true);
  expect(large.pointer).toBeGreaterThan(kept + 500);
  expect(arena.u8(kept, 500).every((byte) => byte === 7)).toBe(true);
});
