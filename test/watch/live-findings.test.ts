import { expect, test } from 'vitest';
import type { Finding } from '../../src/result/finding.js';
import { LiveFindings } from '../../src/watch/live-findings.js';

const inFront = (rank: Finding['rank']): Finding => ({
  ...{ kind: 'too-short-in-front', rank, frames: [1], message: 'Something lies in front.', advice: '' },
});

test('a flaw at the first end is said when one more frame confirms it, what spoils the picture at once', () => {
  const live = new LiveFindings();
  expect(live.next([inFront('flaw')], 6, 6)).toEqual([]);
  // The same frames, looked at once more.
  expect(live.next([inFront('flaw')], 6, 6)).toEqual([]);
  expect(live.next([], 7, 7)).toEqual([]);
  expect(live.next([inFront('flaw')], 8, 8)).toEqual([]);
  expect(live.next([inFront('flaw')], 9, 9)).toEqual([inFront('flaw')]);
  expect(new LiveFindings().next([inFront('spoils')], 6, 6)).toEqual([inFront('spoils')]);
});

test('an end that is still open is none', () => {
  const open: Finding = { ...inFront('spoils'), kind: 'too-short-behind', frames: [6] };
  expect(new LiveFindings().next([open], 6, 6)).toEqual([]);
});
