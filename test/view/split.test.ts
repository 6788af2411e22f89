import { expect, test } from 'vitest';
import { otherHalf } from '../../src/view/page/split.js';
import type { PageFrame } from '../../src/view/protocol.js';

test('the halves of a split picture never are the same, and one of them is the composite where it can be', () => {
  const frame = (number: number, sharePercent: number, used = true): PageFrame => ({
    number,
    name: `${number}.jpg`,
    depth: number,
    sharePercent,
    used,
    leftOutReason: null,
    isThere: true,
    scale: 1,
  });
  const frames = [frame(1, 10), frame(2, 50), frame(3, 40), frame(4, 99, false)];
  expect(otherHalf('composite', frames, undefined)).toBe('frame-2');
  expect(otherHalf('composite', frames, 3)).toBe('frame-3');
  // A frame that was left out cannot be shown.
  expect(otherHalf('composite', frames, 4)).toBe('frame-2');
  for (const right of ['depth', 'frame-2', 'before', 'coverage'] as const) {
    expect(otherHalf(right, frames, 2)).toBe('composite');
  }
});
