import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { beforeAll, describe, expect, it } from 'vitest';
import { resolveBatch } from '../../src/batch/batch-options.js';
import { nightState } from '../../src/batch/night-state.js';
import { planDiscovered } from '../../src/batch/plan-batch.js';
import { check } from '../../src/check/check.js';
import { InputError, UsageError } from '../../src/errors.js';
import { merge } from '../../src/mend/merge.js';
import type { MergeEvent } from '../../src/merge/merge-event.js';
import { plan } from '../../src/plan/plan.js';
import { maxFrames, maxSourceNumber, refuseTooManyFrames } from '../../src/stack/frame-limit.js';
import {
  depthIndexOf,
  fractionBitsFor,
  minFractionBits,
  needsFrontLayerPlane,
} from '../../src/surface/depth-index.js';
import { makeFolder } from './pictures.js';

describe('depth indices of a stack', () => {
  it('fit 16 bits up to the longest stack that is merged, and two frames beyond', () => {
    for (const frames of [2, 40, 1015, 1016, 2039, 2040, 3000, maxFrames]) {
      const bits = fractionBitsFor(frames);
      expect(bits).toBeGreaterThanOrEqual(minFractionBits);
      // (ordinal + 4) x 2^bits, the offset of assembly/curve-state.ts.
      expect((frames + 2 + 4) * 2 ** bits).toBeLessThan(2 ** 16);
      expect(depthIndexOf((frames + 4) * 2 ** bits, bits)).toBe(frames);
    }
    expect(() => fractionBitsFor(65_536)).toThrow(RangeError);
  });

  it('keep 1/64 frame where they always did, and ordinals of ten bits beside the reaches', () => {
    expect([2, 1000, 1015].map(fractionBitsFor)).toEqual([6, 6, 6]);
    expect([6, 5, 4].map(needsFrontLayerPlane)).toEqual([false, true, true]);
  });
});

describe('a stack longer than can be merged', () => {
  let folder: string;
  const message = new RegExp(`at most ${maxFrames} frames in one stack but .* holds ${maxFrames + 1}: `);
  beforeAll(async () => {
    folder = join(makeFolder(), 'frames');
    mkdirSync(folder);
    const noise = { type: 'gaussian', mean: 128, sigma: 20 } as const;
    const picture = sharp({ create: { width: 64, height: 64, channels: 3, background: '#888', noise } });
    const bytes = await picture.png().toBuffer();
    for (let i = 0; i <= maxFrames; i++) {
      writeFileSync(join(folder, `f${String(i).padStart(5, '0')}.png`), bytes);
    }
  });

  it('is refused by merge and check before its pixels are read', async () => {
    const stages: string[] = [];
    const onEvent = (event: MergeEvent) => void (event.event === 'stage' && stages.push(event.stage));
    const refusal = await merge(folder, {}, { onEvent }).catch((error: unknown) => error);
    expect(refusal).toBeInstanceOf(InputError);
    expect(String(refusal)).toMatch(message);
    expect(stages).toEqual(['list']);
    await expect(check(folder)).rejects.toThrow(message);
  });

  it('is a fault of the plan of a batch, unless its options keep few enough', async () => {
    const batch = resolveBatch(folder, {});
    const found = {
      ...{ key: 'frames', name: 'frames', folder, frames: maxFrames + 1, size: { width: 64, height: 64 } },
      ...{ channels: 3 as const, bits: 8 as const, files: [] },
    };
    const findings = { stacks: [found], passed: [], partings: [] };
    const plan = await planDiscovered(batch, nightState([]), findings);
    expect(plan.tasks).toEqual([]);
    expect(plan.faults.map(({ kind, reason }) => [kind, message.test(reason)])).toEqual([['frames', true]]);
    const part = { ...findings, stacks: [{ ...found, part: [1, 50] as [number, number] }] };
    expect((await planDiscovered(batch, nightState([]), part)).faults).toEqual([]);
  });

  it('is refused by plan, which knows the same limit', () => {
    const options = {
      ...{ focalLengthMm: 50, extensionMm: 50, fNumber: 8, sensor: 'full-frame' as const },
      ...{ pixels: { width: 6000, height: 4000 }, depthMm: 10 },
    };
    const count = (stepMm: number) => plan({ ...options, stepMm }).frames;
    expect(count(10 / (maxFrames - 1.5))).toBeLessThanOrEqual(maxFrames);
    expect(() => count(10 / (maxFrames + 1))).toThrow(UsageError);
    expect(() => count(10 / (maxFrames + 1))).toThrow(`${maxFrames} frames at most`);
  });

  it('has frame numbers that sources.png can hold', () => {
    expect(() => refuseTooManyFrames('f', [65_000, maxSourceNumber])).not.toThrow();
    expect(() => refuseTooManyFrames('f', [65_000, maxSourceNumber + 1])).toThrow(/up to 65535 but/);
  });
});
