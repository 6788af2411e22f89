import { beforeAll, describe, expect, it } from 'vitest';
import { statePlane } from '../../src/focus/focus-curves.js';
import { at, KernelRig, type Plane, pictureOf, worstDifference } from './kernel-rig.js';
import { curvesOf, readCurve } from './track-twin.js';

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

const width = 53;
const height = 37;
const margin = 2;
const prominence = 512;

/** Frames of a level, followed at a sub-pixel shift and a roll in radians; what of the state is asked for. */
function track(codes: readonly Plane[], [shiftX, shiftY]: readonly [number, number], roll = 0) {
  const state = rig.arena.takeCleared(width, height, 9, 2);
  codes.forEach((plane, k) => {
    const placed = rig.storeCodes([plane]);
    rig.run(
      'trackStrip',
      [
        ...[placed.pointer, placed.stride, width, height],
        ...[0, 0, 0, 0],
        ...[0, 0, 0, 0, 0],
        ...[1, -roll, shiftX, roll, 1, shiftY, margin],
        ...[state.pointer, state.planeBytes, state.stride, width, height],
        ...[k + 1, prominence],
      ],
      height,
    );
  });
  return (name: keyof typeof statePlane) => rig.read(state, statePlane[name]);
}

describe('pickStrip', () => {
  it.each([
    [1, 0, 0, 0],
    [2, 1.25, -2.5, 0],
    [3, -7.3, 4.1, 0.004],
  ])(
    'keeps the best and its ordinal as trackStrip does (seed %i, shift %f, %f, roll %f)',
    (seed, c, f, roll) => {
      const codes = curvesOf(width, height, seed);
      const plane = track(codes, [c, f], roll);
      const picks = rig.arena.takeCleared(width, height, 2, 2);
      codes.forEach((code, k) => {
        const placed = rig.storeCodes([code]);
        rig.run(
          'pickStrip',
          [
            ...[placed.pointer, placed.stride, width, height],
            ...[1, -roll, c, roll, 1, f, margin],
            ...[picks.pointer, picks.pointer + picks.planeBytes, picks.stride, width, height, k + 1],
          ],
          height,
        );
      });
      const [best, ordinals] = [rig.read(picks, 0), rig.read(picks, 1)];
      expect([best, ordinals]).toEqual([plane('best'), plane('bestOrdinal')]);
      expect(new Set(ordinals.data).size).toBeGreaterThan(8);
    },
  );
});

describe('trackStrip', () => {
  it.each([1, 2, 3])('keeps what the whole focus curve shows (seed %i)', (seed) => {
    const codes = curvesOf(width, height, seed);
    const plane = track(codes, [0, 0]);
    const names = ['best', 'bestOrdinal', 'before', 'after', 'latest', 'second', 'secondOrdinal'] as const;
    const planes = names.map(plane);
    let twoPeaks = 0;
    let onePeak = 0;
    // A position needs its right and lower neighbour inside the margin too.
    for (let y = margin; y <= height - 2 - margin; y++) {
      for (let x = margin; x <= width - 2 - margin; x++) {
        const expected = readCurve(
          codes.map((code) => at(code, x, y)),
          prominence,
        );
        const kept = Object.fromEntries(names.map((n, i) => [n, at(planes[i], x, y)]));
        expect(kept).toEqual(expected);
        if (expected.second > 0) twoPeaks++;
        else onePeak++;
      }
    }
    expect(twoPeaks).toBeGreaterThan(200);
    expect(onePeak).toBeGreaterThan(200);
  });

  it('knows nothing where no frame reaches', () => {
    const best = track(curvesOf(width, height, 1), [0, 0])('best');
    const inside = (i: number, n: number) => i >= margin && i <= n - 2 - margin;
    const reached = pictureOf(width, height, (x, y) => Number(at(best, x, y) > 0));
    const expected = pictureOf(width, height, (x, y) => Number(inside(x, width) && inside(y, height)));
    expect(worstDifference(reached, expected)).toBe(0);
  });

  it('samples codes between pixels bilinearly', () => {
    const ramp = pictureOf(width, height, (x, y) => 2000 + 64 * x + 128 * y);
    const best = track([ramp], [1.25, -2.5])('best');
    const exact = pictureOf(width, height, (x, y) => 2000 + 64 * (x + 1.25) + 128 * (y - 2.5));
    expect(worstDifference(best, exact, 6)).toBeLessThanOrEqual(1);
  });

  it('follows a roll: within half a group of eight it moves a sample by less than two codes', () => {
    const roll = 0.003;
    const ramp = pictureOf(width, height, (x, y) => 2000 + 64 * x + 128 * y);
    const best = track([ramp], [1.25, -2.5], roll)('best');
    const exact = pictureOf(
      width,
      height,
      (x, y) => 2000 + 64 * (x - roll * y + 1.25) + 128 * (roll * x + y - 2.5),
    );
    expect(worstDifference(best, exact, 6)).toBeLessThanOrEqual(2.5);
  });
});
