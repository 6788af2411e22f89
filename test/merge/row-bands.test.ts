import { createHash } from 'node:crypto';
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterEach, beforeAll, describe, expect, it, vi } from 'vitest';
import type { Matrix3 } from '../../src/image/transform.js';
import { Arena } from '../../src/kernels/arena.js';
import { memoryLimit } from '../../src/merge/arena-need.js';
import { type FoundMaps, mergeFrames } from '../../src/merge/merge-frames.js';
import { RunLog } from '../../src/merge/run-log.js';
import type { UsedFrame } from '../../src/merge/used-frame.js';
import { resolveOptions } from '../../src/options/resolve-merge-options.js';
import type { SourceRule } from '../../src/options/source-rule.js';
import { KeptFrames } from '../../src/stack/kept-frames.js';
import { readStack } from '../../src/stack/read-stack.js';
import { halvedFrom } from '../../src/surface/surface.js';
import { makeFolder } from '../stack/pictures.js';
import { bandedCount, bandedSize, drawBandedFrame } from './banded-stack.js';

const { bytes: wholeMemory } = memoryLimit;
const { pixels: fromPixels } = halvedFrom;

/** Motions of the frames: none, or rolled, scaled and shifted. */
const motions: Record<'still' | 'moved', (ordinal: number) => Matrix3> = {
  still: () => [1, 0, 0, 0, 1, 0, 0, 0, 1],
  moved: (ordinal) => {
    const k = ordinal - 4;
    const scale = 1 + 0.006 * k;
    const [cos, sin] = [scale * Math.cos(0.02 * k), scale * Math.sin(0.02 * k)];
    return [cos, -sin, 2.3 * k + 8, sin, cos, -3.1 * k, 0, 0, 1];
  },
};

interface Wish {
  rule: SourceRule;
  motion: keyof typeof motions;
  direction: 'near-to-far' | 'far-to-near' | 'unknown';
  folder: string;
  bits: 8 | 16;
  threads: number;
  /** Whether the surface is found at half the size. */
  isHalved?: boolean;
}

/** A digest of everything that a merge makes, and the number of its memories. */
async function mergeIn(
  memoryBytes: number,
  { rule, motion, direction, folder, bits, threads, isHalved = false }: Wish,
) {
  memoryLimit.bytes = memoryBytes;
  if (isHalved) halvedFrom.pixels = 0;
  const arenas = new Set<Arena>();
  const { take } = Arena.prototype;
  vi.spyOn(Arena.prototype, 'take').mockImplementation(function (this: Arena, bytes) {
    arenas.add(this);
    return take.call(this, bytes);
  });
  const stack = await readStack(folder);
  const used = stack.frames.map(
    (file, k): UsedFrame => ({
      file,
      ordinal: k + 1,
      toAnchor: motions[motion](k + 1),
      gainRatio: [1 + 0.01 * k, 1, 1 - 0.01 * k],
    }),
  );
  let evidence: unknown;
  const { pixels, found } = await mergeFrames<FoundMaps>(
    used,
    stack.size,
    { x: 0, y: 0, ...stack.size },
    bits,
    resolveOptions({ rule, threads }),
    (look) => {
      evidence = look();
      return { direction };
    },
    (maps) => maps,
    used.slice(1).map((_, k) => (k === 2 && !isHalved ? 2 : 1)),
    undefined,
    [{ x: 30, y: 258, radius: 9 }],
    new KeptFrames(threads === 1 ? 0 : 1e9),
    new RunLog({}),
    undefined,
  );
  const [arena] = arenas;
  return {
    memories: arena.memories.length,
    peakBytes: arena.peakBytes,
    composite: digest(pixels),
    depth: digest(found.maps.depthIndices),
    confidence: digest(found.maps.confidence),
    coverage: digest(found.maps.coverage),
    sources: digest(found.sources),
    evidence,
    tones: new Set(pixels).size,
    classes: new Set(found.maps.coverage).size,
  };
}

function digest(values: Uint8Array | Uint16Array): string {
  return createHash('sha256')
    .update(new Uint8Array(values.buffer, values.byteOffset, values.byteLength))
    .digest('hex');
}

describe('a picture in bands of rows over several memories', () => {
  const folders = { 8: '', 16: '' };
  beforeAll(async () => {
    for (const bits of [8, 16] as const) {
      folders[bits] = join(makeFolder(), 'frames');
      mkdirSync(folders[bits]);
      for (let ordinal = 1; ordinal <= bandedCount; ordinal++) {
        await sharp(drawBandedFrame(ordinal, bits), { raw: { ...bandedSize, channels: 3 } })
          .toColourspace(bits === 8 ? 'srgb' : 'rgb16')
          .tiff({ compression: 'none' })
          .toFile(join(folders[bits], `${ordinal}.tif`));
      }
    }
  });
  afterEach(() => {
    memoryLimit.bytes = wholeMemory;
    halvedFrom.pixels = fromPixels;
    vi.restoreAllMocks();
  });

  it.each([
    ['auto', 8, 'moved', 'near-to-far', 2],
    ['auto', 16, 'moved', 'far-to-near', 1],
    ['auto', 8, 'still', 'unknown', 2],
    ['select', 16, 'moved', 'near-to-far', 3],
    ['select at half the size', 8, 'moved', 'near-to-far', 2],
    ['weigh', 8, 'moved', 'near-to-far', 2],
  ] as const)(
    'is the picture that one memory makes, byte for byte: %s, %i bits, %s, %s, %i threads',
    async (told, bits, motion, direction, threads) => {
      const isHalved = told === 'select at half the size';
      const rule = isHalved ? 'select' : told;
      const wish = { rule, bits, motion, direction, threads, isHalved, folder: folders[bits] };
      const whole = await mergeIn(wholeMemory, wish);
      vi.restoreAllMocks();
      const parts = await mergeIn(1, wish);
      expect(whole.memories).toBe(1);
      expect(parts.memories).toBe(4);
      expect({ ...parts, memories: 1, peakBytes: whole.peakBytes }).toEqual(whole);
      expect(whole.tones).toBeGreaterThan(100);
    },
  );

  it('takes no more memories than it needs, and of none more than it holds', async () => {
    const wish = { rule: 'auto', bits: 8, motion: 'moved', direction: 'near-to-far', threads: 2 } as const;
    for (const [bytes, memories] of [
      [10e6, 1],
      [8e6, 2],
      [5.8e6, 4],
    ]) {
      const merged = await mergeIn(bytes, { ...wish, folder: folders[8] });
      vi.restoreAllMocks();
      expect(merged.memories).toBe(memories);
      expect(merged.peakBytes).toBeLessThanOrEqual(bytes);
    }
  });
});
