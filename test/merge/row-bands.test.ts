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
import { discMean, drawPadded } from '../blend/disc-mean.js';
import { randomFrom } from '../kernels/kernel-rig.js';
import { makeFolder } from '../stack/pictures.js';

// Bands begin at multiples of 256 rows, where a strip of 32 rows begins at each of four levels.
const size = { width: 120, height: 780 };
const count = 7;
const blurPx = 1.7;
const { bytes: wholeMemory } = memoryLimit;

/** Where the ground, a leaf and hairs before it are in focus, by ordinal. */
const groundAt = (_x: number, y: number) => 3.5 + 3 * Math.sin(y / 60);
const [leafAt, hairAt] = [3, 1.5];
const ground = (x: number, y: number) =>
  90 +
  30 * Math.sin(1.9 * x + 2 * Math.sin(0.31 * y)) * Math.cos(1.7 * y + 1.3 * Math.sin(0.27 * x)) +
  16 * Math.sin(0.5 * x - 0.4 * y) * (Math.sin(y / 37) > -0.4 ? 1 : 0);
/** Leaves that lie across the borders of bands, smooth but for their rims, and hairs from top to bottom. */
const inLeaf = (x: number, y: number) => Number(Math.hypot(x - 60, (y % 256) - 10) < 45 && y > 100);
const leaf = (x: number, y: number) => 190 + 20 * Math.sin(0.08 * x + 0.05 * y);
const inHair = (x: number, y: number) => Math.max(0, Math.min(1, 1.5 - Math.abs(((x + 0.35 * y) % 60) - 30)));

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

function drawFrame(ordinal: number, bits: 8 | 16): Uint8Array | Uint16Array {
  const pad = Math.ceil(blurPx * count);
  const random = randomFrom(ordinal);
  const blur = (at: number) => blurPx * Math.abs(ordinal - at);
  // The depth of the ground changes slowly: each row is taken from the blur that is nearest to its own.
  const drawn = drawPadded(size, pad, ground);
  const grounds = Array.from({ length: 13 }, (_, i) => discMean(drawn, i));
  const leaves = discMean(drawPadded(size, pad, inLeaf), blur(leafAt));
  const hairs = discMean(drawPadded(size, pad, inHair), blur(hairAt));
  const samples =
    bits === 8 ? new Uint8Array(size.width * size.height * 3) : new Uint16Array(size.width * size.height * 3);
  const unit = bits === 8 ? 1 : 257;
  for (let y = 0, i = 0; y < size.height; y++) {
    for (let x = 0; x < size.width; x++, i++) {
      const behind = grounds[Math.min(12, Math.round(blur(groundAt(x, y))))][i];
      const middle = leaves[i] * leaf(x, y) + (1 - leaves[i]) * behind;
      const tone = hairs[i] * 225 + (1 - hairs[i]) * middle + 2 * (random() + random() - 1);
      for (let c = 0; c < 3; c++) samples[3 * i + c] = Math.round(unit * (tone - 7 * c));
    }
  }
  // Defects of the sensor, at the same pixel in every frame, about the borders of bands.
  for (const [x, y] of [
    [40, 255],
    [70, 256],
    [44, 258],
    [90, 511],
    [20, 100],
  ]) {
    samples.fill(250 * unit, 3 * (y * size.width + x), 3 * (y * size.width + x) + 3);
  }
  return samples;
}

interface Wish {
  rule: SourceRule;
  motion: keyof typeof motions;
  direction: 'near-to-far' | 'far-to-near' | 'unknown';
  folder: string;
  bits: 8 | 16;
  threads: number;
}

/** A digest of everything that a merge makes, and the number of its memories. */
async function mergeIn(memoryBytes: number, { rule, motion, direction, folder, bits, threads }: Wish) {
  memoryLimit.bytes = memoryBytes;
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
    used.slice(1).map((_, k) => (k === 2 ? 2 : 1)),
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
      for (let ordinal = 1; ordinal <= count; ordinal++) {
        await sharp(drawFrame(ordinal, bits), { raw: { ...size, channels: 3 } })
          .toColourspace(bits === 8 ? 'srgb' : 'rgb16')
          .tiff({ compression: 'none' })
          .toFile(join(folders[bits], `${ordinal}.tif`));
      }
    }
  });
  afterEach(() => {
    memoryLimit.bytes = wholeMemory;
    vi.restoreAllMocks();
  });

  it.each([
    ['auto', 8, 'moved', 'near-to-far', 2],
    ['auto', 16, 'moved', 'far-to-near', 1],
    ['auto', 8, 'still', 'unknown', 2],
    ['select', 16, 'moved', 'near-to-far', 3],
    ['weigh', 8, 'moved', 'near-to-far', 2],
  ] as const)(
    'is the picture that one memory makes, byte for byte: %s, %i bits, %s, %s, %i threads',
    async (rule, bits, motion, direction, threads) => {
      const wish = { rule, bits, motion, direction, threads, folder: folders[bits] };
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
