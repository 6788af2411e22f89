import { expect, test } from 'vitest';
import { FramesToGo } from '../../src/watch/frames-to-go.js';
import type { LiveJudgement } from '../../src/watch/live-stack.js';

type Judged = Parameters<FramesToGo['next']>[0];

/** A judgement of so many frames: of 100 tiles, those in focus and those ahead. */
function judged(count: number, inFocus: number, distances: number[], afterLast = 0): Judged {
  const coverage = { noDetail: 100 - inFocus - afterLast, afterLast, missingAfter: 3 };
  return {
    ahead: { distances, tiles: 100 },
    coverage: coverage as LiveJudgement['coverage'],
    evidence: { files: new Array(count) } as LiveJudgement['evidence'],
  };
}

test('the number falls by one a frame while the subject comes into focus, and does not jump at its end', () => {
  const toGo = new FramesToGo();
  const depth = 24;
  // Of 60 tiles spread evenly over the depth, and five that only seem to be coming.
  const told = Array.from({ length: depth }, (_, k) => {
    const tiles = Array.from({ length: 60 }, (_, i) => (i * depth) / 60 - k).filter(
      (distance) => distance > 0,
    );
    return toGo.next(
      judged(k + 1, 60 - tiles.length, [...tiles, 15, 16, 18, 20, 21], Math.min(5, tiles.length)),
    );
  });
  const frames = told.map((one) => one?.frames ?? 0);
  for (const [k, number] of frames.slice(1).entries()) {
    expect(number - frames[k], `after frame ${k + 2}`).toBeLessThanOrEqual(0);
    expect(frames[k] - number, `after frame ${k + 2}`).toBeLessThanOrEqual(3);
  }
  expect(frames[8]).toBeGreaterThan(11);
  expect(frames[8]).toBeLessThan(17);
  expect(told.at(-2)?.isLeast).toBe(true);
});

test('nothing is to go where hardly anything gets sharper', () => {
  expect(new FramesToGo().next(judged(20, 80, [6, 7, 9]))).toBeUndefined();
  expect(new FramesToGo().next({ ...judged(20, 80, []), ahead: undefined })).toBeUndefined();
});
