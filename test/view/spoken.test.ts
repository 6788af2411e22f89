import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import { Spoken } from '../../src/view/page/spoken.js';

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
