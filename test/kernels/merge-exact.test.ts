import { describe, expect, it } from 'vitest';
import { takePlan, tileRows } from '../../src/blend/plan-sources.js';
import { PyramidBlender } from '../../src/blend/pyramid-blender.js';
import { srgbCurve } from '../../src/image/transfer-curve.js';
import type { Matrix3 } from '../../src/image/transform.js';
import { Arena } from '../../src/kernels/arena.js';
import type { PlacedFrame } from '../../src/kernels/placed-frame.js';
import { tileColumns } from '../../src/model/constants/state.js';
import { StripPool } from '../../src/workers/pool.js';
import { noiseRgb, randomFrom } from './kernel-rig.js';

interface Wish {
  width: number;
  height: number;
  bits: 8 | 16;
  threads: number;
  motions: readonly Matrix3[];
  /** Centre of a level's pixel, in frames; the reach is one and a half frames. */
  centre: (x: number, y: number) => number;
}

/** Merges random frames, one per motion, and returns the composite's samples. */
async function merge(wish: Wish): Promise<Uint8Array | Uint16Array> {
  const { width, height, bits, threads, motions, centre } = wish;
  const size = { width, height };
  const arena = new Arena();
  const pool = await StripPool.start(arena, threads, PyramidBlender.scratchBytes(size, size, 0.02));
  try {
    const plan = takePlan(arena, size, motions.length);
    const tiles = Math.ceil(width / tileColumns) * Math.ceil(height / tileRows);
    arena.u8(plan.uses, tiles * plan.usesBytes).fill(255);
    plan.levels.forEach((of, level) => {
      const { stride } = of.centre;
      arena.planeU16(of.reach).fill(24);
      const centres = arena.planeU16(of.centre);
      for (let y = 0; y < of.centre.height; y++) {
        for (let x = 0; x < of.centre.width; x++) {
          centres[y * stride + x] = Math.round(64 * centre(x << level, y << level));
        }
      }
    });
    const blender = new PyramidBlender(arena, pool, size, size, plan, srgbCurve);
    const pointer = arena.take(width * height * 3 * (bits / 8) + 64);
    const length = width * height * 3;
    const pixels = () => (bits === 8 ? arena.u8(pointer, length) : arena.u16(pointer, length));
    for (const [k, toFrame] of motions.entries()) {
      pixels().set(noiseRgb(width, height, bits, k + 1));
      const frame: PlacedFrame = { pointer, bits, ...size, toFrame, gainRatio: [1, 1, 1], ordinal: k + 1 };
      await blender.add(frame);
    }
    const out = await blender.finish(bits);
    const bytes = arena.gather(out);
    return bits === 8 ? bytes : new Uint16Array(bytes.buffer);
  } finally {
    await pool.close();
  }
}

/** The first sample in which two pictures differ; a whole-array matcher takes seconds on so many samples. */
function firstDifference(ours: Uint8Array | Uint16Array, expected: Uint8Array | Uint16Array) {
  if (ours.length !== expected.length) return `${ours.length} samples, not ${expected.length}`;
  const i = ours.findIndex((value, index) => value !== expected[index]);
  return i < 0 ? undefined : `sample ${i} is ${ours[i]}, not ${expected[i]}`;
}

const identity: Matrix3 = [1, 0, 0, 0, 1, 0, 0, 0, 1];

describe('a merge of one frame that is not resampled', () => {
  const cases = [
    [101, 77, 8],
    [101, 77, 16],
    [640, 480, 8],
    [640, 480, 16],
  ] as const;

  it.each(cases)('gives the frame back bit for bit: %i x %i, %i bits', async (width, height, bits) => {
    const merged = await merge({ width, height, bits, threads: 2, motions: [identity], centre: () => 1 });
    expect(firstDifference(merged, noiseRgb(width, height, bits, 1))).toBeUndefined();
  });
});

describe('a merge of several frames', () => {
  it('does not depend on the number of threads', async () => {
    const random = randomFrom(8);
    const motions = [0, 1, 2, 3].map((k): Matrix3 => {
      if (k === 0) return identity;
      const roll = (random() - 0.5) * 0.01;
      const scale = 1 + (random() - 0.5) * 0.02;
      const [cos, sin] = [scale * Math.cos(roll), scale * Math.sin(roll)];
      return [cos, -sin, random() * 4 - 2, sin, cos, random() * 4 - 2, 0, 0, 1];
    });
    const wish = {
      width: 301,
      height: 203,
      bits: 16 as const,
      motions,
      centre: (x: number) => 1 + (3 * Math.min(300, x)) / 300,
    };
    const one = await merge({ ...wish, threads: 1 });
    const three = await merge({ ...wish, threads: 3 });
    expect(firstDifference(three, one)).toBeUndefined();
    // Something was blended: the picture is neither empty nor the first frame.
    expect(new Set(one).size).toBeGreaterThan(1000);
    expect(firstDifference(one, noiseRgb(301, 203, 16, 1))).toBeDefined();
  });
});
