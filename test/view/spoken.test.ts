import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import { otherHalf } from '../../src/view/page/split.js';
import { Spoken } from '../../src/view/page/spoken.js';
import type { PageFrame } from '../../src/view/protocol.js';

beforeEach(() => vi.useFakeTimers());
afterEach(() => vi.useRealTimers());

test('of a readout that changes all the time only what stays is told, and the last text always', () => {
  const told: string[] = [];
  const spoken = new Spoken(
    (text) => told.push(text),
    () => Date.now(),
  );
  // A pointer that moves for a minute, sixty times a second, and rests twice.
  for (let i = 0; i < 1800; i++) {
    spoken.say(`x ${i}`);
    vi.advanceTimersByTime(16);
  }
  expect(told).toEqual([]);
  vi.advanceTimersByTime(1000);
  expect(told).toEqual(['x 1799']);
  // The same text again, and one that was there before, are nothing new.
  spoken.say('x 1799');
  spoken.say('x 5');
  spoken.say('x 1799');
  vi.advanceTimersByTime(60_000);
  expect(told).toEqual(['x 1799']);
  for (const text of ['a', 'b', 'c']) {
    spoken.say(text);
    vi.advanceTimersByTime(700);
  }
  vi.advanceTimersByTime(60_000);
  expect(told).toEqual(['x 1799', 'a', 'c']);
});

test('texts follow each other no faster than they can be said', () => {
  const at: number[] = [];
  const spoken = new Spoken(
    () => at.push(Date.now()),
    () => Date.now(),
  );
  for (let i = 0; i < 100; i++) {
    spoken.say(`x ${i}`);
    vi.advanceTimersByTime(900);
  }
  vi.advanceTimersByTime(10_000);
  for (let i = 1; i < at.length; i++) expect(at[i] - at[i - 1]).toBeGreaterThanOrEqual(2500);
});

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
