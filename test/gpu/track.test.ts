import { expect, it } from 'vitest';
import { statePlane } from '../../src/focus/focus-curves.js';
import type { Gpu } from '../../src/gpu/device.js';
import { placedRows, wordsOf } from '../../src/gpu/planes.js';
import { at, type Plane, pictureOf, worstDifference } from '../kernels/kernel-rig.js';
import { curvesOf, readCurve } from '../kernels/track-twin.js';
import { describeGpu, devices } from './gpu-rig.js';

const width = 93;
const height = 71;
const margin = 2;
const prominence = 512;

describeGpu('track', (rig) => {
  /** Frames of a level, followed at a sub-pixel shift and a roll in radians; what of the state is asked for. */
  function track(gpu: Gpu, codes: readonly Plane[], [c, f]: readonly [number, number], roll = 0) {
    const toFrame = { a: 1, b: -roll, c, d: roll, e: 1, f };
    const state = gpu.takePlanes(width, height, 9, 2);
    const full = gpu.takePlanes(width, height, 1, 2);
    codes.forEach((plane, k) => {
      const placed = rig.store(gpu, [plane, plane], 2);
      const window = { set: placed, rows: placedRows(toFrame, width, 2) };
      gpu.run(
        'track',
        // Tones are followed at levels 0 to 2.
        { toFrame, toFullFrame: toFrame, level: 3, margin, ordinal: k + 1, prominence },
        { codes: window, luma: window, state, full },
        { width: wordsOf(width), height },
      );
      gpu.submit();
    });
    return (name: keyof typeof statePlane) => rig.read(gpu, state, statePlane[name]);
  }

  it.each(devices.flatMap((which) => [2, 3].map((seed) => ({ which, seed }))))(
    'keeps what the whole focus curve shows (seed $seed, $which)',
    async ({ which, seed }) => {
      const codes = curvesOf(width, height, seed);
      const plane = track(rig[which], codes, [0, 0]);
      const names = ['best', 'bestOrdinal', 'before', 'after', 'latest', 'second', 'secondOrdinal'] as const;
      const planes = await Promise.all(names.map(plane));
      for (let y = margin; y <= height - 2 - margin; y++) {
        for (let x = margin; x <= width - 2 - margin; x++) {
          const curve = codes.map((code) => at(code, x, y));
          const kept = Object.fromEntries(names.map((n, i) => [n, at(planes[i], x, y)]));
          expect(kept).toEqual(readCurve(curve, prominence));
        }
      }
    },
  );

  it('knows nothing where no frame reaches', async () => {
    const best = await track(rig.gpu, curvesOf(width, height, 1), [0, 0])('best');
    const inside = (i: number, n: number) => i >= margin && i <= n - 2 - margin;
    const reached = pictureOf(width, height, (x, y) => Number(at(best, x, y) > 0));
    const expected = pictureOf(width, height, (x, y) => Number(inside(x, width) && inside(y, height)));
    expect(worstDifference(reached, expected)).toBe(0);
  });

  it.each(devices)('samples codes between pixels bilinearly (%s)', async (which) => {
    const ramp = pictureOf(width, height, (x, y) => 2000 + 64 * x + 128 * y);
    const best = await track(rig[which], [ramp], [1.25, -2.5])('best');
    const exact = pictureOf(width, height, (x, y) => 2000 + 64 * (x + 1.25) + 128 * (y - 2.5));
    expect(worstDifference(best, exact, 6)).toBeLessThanOrEqual(1);
  });

  it('follows a roll: within half a group of eight it moves a sample by less than two codes', async () => {
    const roll = 0.003;
    const ramp = pictureOf(width, height, (x, y) => 2000 + 64 * x + 128 * y);
    const best = await track(rig.gpu, [ramp], [1.25, -2.5], roll)('best');
    const exact = pictureOf(
      width,
      height,
      (x, y) => 2000 + 64 * (x - roll * y + 1.25) + 128 * (roll * x + y - 2.5),
    );
    expect(worstDifference(best, exact, 6)).toBeLessThanOrEqual(2.5);
  });
});
