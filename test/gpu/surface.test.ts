import { afterAll, beforeAll, expect, it } from 'vitest';
import { FocusTracker } from '../../src/focus/focus-tracker.js';
import { findGpuSurface, readGpuSurface } from '../../src/gpu/surface.js';
import { levelSizes } from '../../src/image/level-sizes.js';
import { similarityMatrix } from '../../src/image/transform.js';
import { Arena } from '../../src/kernels/arena.js';
import { findSurface, readSurface } from '../../src/surface/surface.js';
import { StripPool } from '../../src/workers/pool.js';
import { frames, names, randomState } from '../kernels/focus-state.js';
import { at } from '../kernels/kernel-rig.js';
import { describeGpu } from './gpu-rig.js';
import { placeStates } from './state-sets.js';

/** Part of the values that differ by no more than `most`. */
function shareWithin(found: ArrayLike<number>, expected: ArrayLike<number>, most: number): number {
  let within = 0;
  for (let i = 0; i < expected.length; i++) if (Math.abs(found[i] - expected[i]) <= most) within++;
  return within / expected.length;
}

describeGpu(
  'findGpuSurface',
  (rig) => {
    const arena = new Arena();
    let pool: StripPool;
    beforeAll(async () => {
      pool = await StripPool.start(arena, 2, 1 << 20);
    });
    afterAll(() => pool.close());

    // Of four levels, and high enough for several bands of rows; of three, two and one.
    it.each([
      { which: 'banded', nearSign: 1, width: 101, height: 403 },
      { which: 'gpu', nearSign: -1, width: 95, height: 61 },
      { which: 'gpu', nearSign: 1, width: 33, height: 40 },
      { which: 'gpu', nearSign: 0, width: 23, height: 31 },
    ] as const)(
      'agrees with findSurface over a random state, long steps and frames that end ($which, nearSign $nearSign, $width x $height)',
      async ({ which, nearSign, width, height }) => {
        const gpu = rig[which];
        const size = { width, height };
        const sizes = levelSizes(size).slice(0, 4);
        const states = sizes.map((of) => randomState([of.width, of.height], 21));
        const toFrame = Array.from({ length: frames }, (_, k) =>
          similarityMatrix(
            { scale: 1 + 0.02 * (k - 6), rollRad: 0, shiftXPx: 0, shiftYPx: 0 },
            width,
            height,
          ),
        );
        const bounds = { toFrame, frame: size };
        const steps = Array.from({ length: frames - 1 }, (_, k) => (k % 4 === 2 ? 1.8 : 1));
        const mark = arena.mark();
        const tracker = new FocusTracker(arena, pool, size, size, sizes.length);
        states.forEach((state, level) => {
          for (const name of names) {
            if (level > 0 && (name === 'tones' || name === 'coarseTones')) continue;
            const stored = tracker.plane(level, name);
            const { width: w, height: h } = sizes[level];
            for (let y = 0; y < h; y++) {
              for (let x = 0; x < w; x++) stored[y * tracker.state[level].stride + x] = at(state[name], x, y);
            }
          }
        });
        const state = placeStates(rig, gpu, states);
        const found = await findGpuSurface(gpu, state, tracker, bounds, nearSign, steps, 1.4, 1);
        const maps = await readGpuSurface(gpu, found, bounds);
        const surface = await findSurface(arena, pool, tracker, bounds, nearSign, steps, 1.4, 1);
        const expected = await readSurface(arena, pool, surface, bounds);
        expect(found.detailShare).toBeCloseTo(surface.detailShare, 4);
        expect(found.reaches).toEqual(surface.reaches);
        // A stored unit is 1/64 frame; 32-bit numbers round another way here and there.
        expect(shareWithin(maps.depthIndices, expected.depthIndices, 1)).toBeGreaterThan(0.999);
        expect(shareWithin(maps.confidence, expected.confidence, 1)).toBeGreaterThan(0.999);
        expect(shareWithin(maps.coverage, expected.coverage, 0)).toBeGreaterThan(0.999);
        if (width > 50) for (const kind of [0, 3, 5]) expect(expected.coverage).toContain(kind);
        arena.release(mark);
        gpu.release(...state, found.surface);
      },
    );
  },
  { bandBytes: 1 << 19 },
);
