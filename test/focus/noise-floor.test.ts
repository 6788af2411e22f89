import { expect, it } from 'vitest';
import { FocusTracker } from '../../src/focus/focus-tracker.js';
import { identityMatrix } from '../../src/image/transform.js';
import { Arena } from '../../src/kernels/arena.js';
import { codesPerOctave } from '../../src/model/constants/state.js';
import { StripPool } from '../../src/workers/pool.js';
import { randomFrom } from '../kernels/kernel-rig.js';

const size = { width: 320, height: 240 };

/** Noise floors of a level, octaves by brightness, of frames drawn by `tone` with noise of the same strength. */
async function floors(level: number, tone: (x: number, y: number) => number): Promise<number[]> {
  const arena = new Arena();
  const pool = await StripPool.start(arena, 2, FocusTracker.scratchBytes(size));
  try {
    const tracker = new FocusTracker(arena, pool, size, size, 4);
    const pointer = arena.take(size.width * size.height * 3 + 64);
    for (let ordinal = 1; ordinal <= 6; ordinal++) {
      const random = randomFrom(ordinal);
      const pixels = arena.u8(pointer, size.width * size.height * 3);
      for (let i = 0; i < size.width * size.height; i++) {
        const noise = 3 * (random() + random() + random() + random() - 2);
        pixels.fill(Math.round(tone(i % size.width, Math.floor(i / size.width)) + noise), 3 * i, 3 * i + 3);
      }
      await tracker.add({
        pointer,
        bits: 8,
        ...size,
        toFrame: identityMatrix,
        gainRatio: [1, 1, 1],
        ordinal,
      });
    }
    return [...tracker.noiseCodes(level)].map((code) => code / codesPerOctave);
  } finally {
    await pool.close();
  }
}

it.each([0, 1])('a tone that only seams have is not taken for noisy, level %i', async (level) => {
  const plain = await floors(level, () => 200);
  // Dark seams 3 px wide: every dark pixel is part of a sharp edge.
  const seamed = await floors(level, (x, y) => (x % 40 < 3 || y % 40 < 3 ? 60 : 200));
  for (const floor of seamed) {
    expect(floor).toBeGreaterThan(plain[7] - 0.5);
    expect(floor).toBeLessThan(plain[7] + 2.5);
  }
});
