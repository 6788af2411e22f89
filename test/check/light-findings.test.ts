import { expect, test } from 'vitest';
import { judgeLight } from '../../src/check/light-findings.js';
import type { FrameMeasurements } from '../../src/rail/frame-measurements.js';
import type { FrameMotion } from '../../src/register/motion-solution.js';

const count = 12;

/** Frames with the given light (red, green, blue) relative to the anchor's; files hold it to the power of 1 / 2.2. */
function frames(light: (k: number) => [number, number, number]): FrameMotion[] {
  return Array.from(
    { length: count },
    (_, k) => ({ number: k + 1, gainRatio: light(k).map((value) => value ** (-1 / 2.2)) }) as FrameMotion,
  );
}

function signs(over: (k: number) => Partial<FrameMeasurements> = () => ({})): FrameMeasurements[] {
  return Array.from(
    { length: count },
    (_, k) =>
      ({
        number: k + 1,
        burntPercent: 0,
        blockedPercent: 0,
        cutPercent: [0, 0, 0],
        ...over(k),
      }) as FrameMeasurements,
  );
}

/** Two per cent up and down, as on any bench. */
const steady = (k: number) => (k % 2 === 0 ? 1.02 : 0.98);
const grey = (value: number): [number, number, number] => [value, value, value];

test('light that wavers by two per cent is steady', () => {
  const { findings, light } = judgeLight(
    frames((k) => grey(steady(k))),
    signs(),
  );
  expect(findings).toEqual([]);
  expect(light[0]).toBeCloseTo(1.02, 9);
});

test.each([1.15, 0.85, 1.5])('a frame with %d of the light is a flaw: a merge evens it out', (factor) => {
  const { findings } = judgeLight(
    frames((k) => grey(k === 4 ? factor : steady(k))),
    signs(),
  );
  expect(findings).toMatchObject([{ kind: 'light', rank: 'flaw', frames: [5] }]);
});

test('light that changes slowly is reported as a trend', () => {
  const { findings } = judgeLight(
    frames((k) => grey(1 + 0.04 * k)),
    signs(),
  );
  expect(findings).toMatchObject([{ kind: 'light', frames: [] }]);
  expect(findings[0].message).toContain('drifts');
});

test('a change of colour at the same brightness is reported as such', () => {
  const { findings } = judgeLight(
    frames((k) => (k === 7 ? [1.08, 1, 0.92] : grey(1))),
    signs(),
  );
  expect(findings).toMatchObject([{ kind: 'white-balance', frames: [8] }]);
});

test.each([
  ['blue, in a third of the picture, red still measures it', [0, 0, 33], [[8]]],
  ['green, to which both are compared, nothing measures it', [0, 33, 0], []],
  ['red and blue, nothing measures it', [20, 0, 33], []],
])('where shadows are cut off in %s', (_, cutPercent, expected) => {
  const { findings } = judgeLight(
    frames((k) => (k === 7 ? [1.08, 1, 0.92] : grey(1))),
    signs(() => ({ cutPercent })),
  );
  expect(findings.map(({ frames: numbers }) => numbers)).toEqual(expected);
});

test('a channel that is clipped measures no flicker either, the others do', () => {
  const blueGone = signs(() => ({ cutPercent: [0, 0, 40] }));
  expect(
    judgeLight(
      frames((k) => [1, 1, k < 4 ? 1.4 : 1]),
      blueGone,
    ).findings,
  ).toEqual([]);
  expect(
    judgeLight(
      frames((k) => grey(k === 4 ? 1.15 : 1)),
      blueGone,
    ).findings,
  ).toMatchObject([{ kind: 'light', frames: [5] }]);
});

test('burnt highlights are reported with their frame and position, a white ground is only noted', () => {
  const burnt = judgeLight(
    frames(() => grey(1)),
    signs((k) => (k === 2 ? { burntPercent: 2, burntSpot: { x: 300, y: 200 } } : {})),
  );
  expect(burnt.findings).toMatchObject([
    { kind: 'highlights', rank: 'flaw', frames: [3], spots: [{ x: 300, y: 200 }] },
  ]);
  const ground = judgeLight(
    frames(() => grey(1)),
    signs(() => ({ burntPercent: 45, burntSpot: { x: 300, y: 200 } })),
  );
  expect(ground.findings).toMatchObject([{ kind: 'highlights', rank: 'note' }]);
});

test.each([
  [5, 10],
  [6, 11],
  [1, 5],
])('a lamp that changed its light for frames %i to %i is reported for these and no others', (from, to) => {
  const isOdd = (k: number) => k + 1 >= from && k + 1 <= to;
  const wanted = Array.from({ length: to - from + 1 }, (_, i) => from + i);
  const all = Array.from({ length: 16 }, (_, k) => {
    const light = isOdd(k) ? [1.35, 1.2, 1.05] : [1, 1, 1];
    const gainRatio = light.map((value) => (value * (k % 2 === 0 ? 1.01 : 0.99)) ** (-1 / 2.2));
    return { number: k + 1, gainRatio } as FrameMotion;
  });
  const { findings } = judgeLight(all, signs());
  expect(findings.map(({ kind, frames: expected }) => [kind, expected])).toEqual([
    ['light', wanted],
    ['white-balance', wanted],
  ]);
});
