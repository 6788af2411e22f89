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
