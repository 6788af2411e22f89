import { beforeAll, describe, expect, it } from 'vitest';
import type { MotionModel } from '../../src/options/motion-model.js';
import { createMotionEstimator } from '../../src/register/motion-estimator.js';
import { estimatorOf, MotionThreads } from '../../src/register/motion-threads.js';
import type { ReducedFrame } from '../../src/register/reduced-frame.js';
import { createTexturedStack } from './textured-stack.js';

const [width, height] = [240, 180];
const fullSize = { width, height };

/**
 * A stack with what changes the course of the measurement: a frame twice, and two beside each other that show something else,
 * over which the third before must bridge.
 */
function awkwardStack(): ReducedFrame[] {
  const plan = { width, height, growthPerStep: 0.001, jitterPx: 1, rollRad: 0, flicker: 0.02 };
  const other = { ...plan, irregularity: 0.1, noise: 1, anchor: 5, channels: 3 } as const;
  const stack = createTexturedStack({ ...other, frameCount: 14, seed: 4 });
  const strange = createTexturedStack({ ...other, frameCount: 14, seed: 90 });
  const drawn = Array.from({ length: 14 }, (_, k) =>
    k === 6 || k === 7 ? { ...strange.draw(k * 2 - 12), number: k + 1 } : stack.draw(k),
  );
  drawn[3] = { ...drawn[2], number: 4 };
  return drawn;
}

let frames: ReducedFrame[];
beforeAll(() => {
  frames = awkwardStack();
});

describe('motion that is measured in threads', () => {
  it.each<[MotionModel, number]>([
    ['similarity', 3],
    ['scale', 1],
    ['none', 2],
  ])('is that of one thread, number by number: %s, %i threads', async (motion, threads) => {
    const here = createMotionEstimator({ motion, fullSize });
    for (const frame of frames) here.add(frame);
    const expected = here.solve(9);
    expect(expected.frames.map(({ sameAsPrevious }) => sameAsPrevious).indexOf(true)).toBe(3);
    if (motion !== 'none') expect(expected.frames.filter(({ usable }) => !usable).length).toBeLessThan(3);

    const apart = new MotionThreads({ motion, fullSize }, threads);
    try {
      // All at once: what is copied may be overwritten after.
      await Promise.all(
        frames.map(async (frame) => {
          const copy = { ...frame, pixels: frame.pixels.slice() };
          await apart.add(copy);
          copy.pixels.fill(0);
        }),
      );
      expect(await apart.solveInParts(9)).toEqual(expected);
    } finally {
      await apart.close();
    }
  });

  it('ends with what a thread throws, wherever it is awaited', async () => {
    const apart = new MotionThreads({ motion: 'scale', fullSize }, 2);
    await apart.add(frames[0]);
    await apart.close();
    await expect(apart.add(frames[1])).rejects.toThrow(/threads have ended/);
    await expect(apart.solveInParts(1)).rejects.toThrow(/threads have ended/);
  });

  it('refuses a frame of another size with both sizes', async () => {
    const apart = new MotionThreads({ motion: 'scale', fullSize }, 1);
    try {
      await apart.add(frames[0]);
      const other = { ...frames[1], width: 10, height: 10, pixels: new Uint8Array(300) };
      await expect(apart.add(other)).rejects.toThrow(/240 x 180 x 3 for frame 2 but received 10 x 10 x 3/);
    } finally {
      await apart.close();
    }
  });

  it('has none where there are none to spare', () => {
    expect(estimatorOf({ motion: 'scale', fullSize }, 0)).not.toBeInstanceOf(MotionThreads);
  });
});
