import { describe, expect, it } from 'vitest';
import { FocusTracker } from '../../src/focus/focus-tracker.js';
import { identityMatrix } from '../../src/image/transform.js';
import { Arena } from '../../src/kernels/arena.js';
import { findSurface } from '../../src/surface/surface.js';
import { StripPool } from '../../src/workers/pool.js';
import { discMean, drawPadded } from '../blend/disc-mean.js';
import { depthIndexAt } from '../kernels/focus-state.js';
import { randomFrom } from '../kernels/kernel-rig.js';

const size = { width: 160, height: 96 };
const count = 16;
/** Ordinals at which the hair and the ground behind it are in focus; radius of the blur a frame from there, px. */
const [hairAt, groundAt, blurPx] = [5, 12, 1];
const [hairTone, hairPx] = [225, 2];

/** Grain of many directions and scales about a dark tone. */
const ground = (x: number, y: number) =>
  80 +
  16 * Math.sin(1.9 * x + 2 * Math.sin(0.31 * y)) * Math.cos(1.7 * y + 1.3 * Math.sin(0.27 * x)) +
  12 * Math.sin(0.9 * x - 0.7 * y) +
  10 * Math.cos(0.5 * x + 0.8 * y);

/** From the middle of the hair, px: it runs across the picture, not along its rows. */
const fromHair = (x: number, y: number) => Math.abs(x - 60 - 0.45 * y) / Math.hypot(1, 0.45);
const cover = (x: number, y: number) => Math.max(0, Math.min(1, hairPx / 2 + 0.5 - fromHair(x, y)));

/** Pixels about the picture that the widest blur brings in. */
const pad = Math.ceil(blurPx * count);
const [groundDrawn, coverDrawn] = [drawPadded(size, pad, ground), drawPadded(size, pad, cover)];

function frame(ordinal: number): Uint8Array {
  const random = randomFrom(ordinal);
  const samples = new Uint8Array(size.width * size.height * 3);
  const parts = discMean(coverDrawn, blurPx * Math.abs(ordinal - hairAt));
  const behind = discMean(groundDrawn, blurPx * Math.abs(ordinal - groundAt));
  for (let i = 0; i < size.width * size.height; i++) {
    const noise = 1.5 * (random() + random() + random() - 1.5);
    samples.fill(Math.round(parts[i] * hairTone + (1 - parts[i]) * behind[i] + noise), 3 * i, 3 * i + 3);
  }
  return samples;
}

const frames = Array.from({ length: count }, (_, k) => frame(k + 1));

/** Ordinal, a fraction, at which each pixel is sharp. */
async function placesOf(frames: readonly Uint8Array[], nearSign: -1 | 1): Promise<Float64Array> {
  const arena = new Arena();
  const pool = await StripPool.start(arena, 2, FocusTracker.scratchBytes(size));
  try {
    const pointer = arena.take(frames[0].length + 64);
    const tracker = new FocusTracker(arena, pool, size, size, 4);
    for (const [k, samples] of frames.entries()) {
      arena.u8(pointer, samples.length).set(samples);
      const placed = { ...size, bits: 8, toFrame: identityMatrix, gainRatio: [1, 1, 1] } as const;
      await tracker.add({ ...placed, pointer, ordinal: k + 1 });
    }
    const bounds = { toFrame: frames.map(() => identityMatrix), frame: size };
    const steps = Array<number>(count - 1).fill(1);
    const { depthIndices } = await findSurface(arena, pool, tracker, bounds, nearSign, steps, blurPx, 1);
    const stored = arena.planeU16(depthIndices);
    return Float64Array.from({ length: size.width * size.height }, (_, i) =>
      depthIndexAt(stored[Math.floor(i / size.width) * depthIndices.stride + (i % size.width)]),
    );
  } finally {
    await pool.close();
  }
}

describe.each([1, -1] as const)('a bright hair of 2 px before textured ground, nearSign %i', (nearSign) => {
  it('keeps its pixels and does not take those beside it', async () => {
    const found = await placesOf(nearSign === 1 ? frames : [...frames].reverse(), nearSign);
    const depthIndices = found.map((depthIndex) => (nearSign === 1 ? depthIndex : count + 1 - depthIndex));
    const share = (where: (away: number) => boolean, ordinal: number) => {
      let [right, pixels] = [0, 0];
      for (let y = 12; y < size.height - 12; y++) {
        for (let x = 12; x < size.width - 12; x++) {
          if (!where(fromHair(x, y))) continue;
          pixels++;
          if (Math.abs(depthIndices[y * size.width + x] - ordinal) < 1.5) right++;
        }
      }
      return right / pixels;
    };
    // Of the pixels that it covers, and of those that it covers no part of, however near.
    expect(share((away) => away < hairPx / 2, hairAt)).toBeGreaterThan(0.98);
    expect(share((away) => away > hairPx / 2 + 0.5 && away < 8, groundAt)).toBeGreaterThan(0.98);
  });
});
