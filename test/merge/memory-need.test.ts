import { spawn } from 'node:child_process';
import { existsSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import sharp from 'sharp';
import { beforeAll, describe, expect, it, vi } from 'vitest';
import { resolveBatch } from '../../src/batch/batch-options.js';
import { nightState } from '../../src/batch/night-state.js';
import { planDiscovered } from '../../src/batch/plan-batch.js';
import { InputError } from '../../src/errors.js';
import { merge } from '../../src/mend/merge.js';
import { workingBytes } from '../../src/merge/arena-need.js';
import {
  memoryFormulaText,
  memoryNeedMb,
  refuseOversized,
  threadsWithin,
} from '../../src/merge/memory-need.js';
import type { MergeEvent } from '../../src/merge/merge-event.js';
import { maxFrames } from '../../src/stack/frame-limit.js';
import { StripPool } from '../../src/workers/pool.js';
import { convertFiles, type Files, placeStack, renderPlane } from './small-stack.js';

const program = fileURLToPath(new URL('../../bin/lamella.js', import.meta.url));

let small: Files;
let wide: Files;
beforeAll(async () => {
  small = (await renderPlane({ frames: 5 })).files;
  // Memory follows the pixels, whatever they show: enlarged they cost no rendering.
  wide = await convertFiles(small, 'jpg', (picture) => picture.resize(1000, 700, { fit: 'fill' }).jpeg());
}, 120_000);

describe('bytes of the arena by the headers', () => {
  it.each([
    ['small, 8 bits', () => small, 8, 1],
    ['wide, 8 bits', () => wide, 8, 3],
    [
      'small, 16 bits',
      () => convertFiles(small, 'tif', (picture) => picture.toColourspace('rgb16').tiff()),
      16,
      2,
    ],
  ] as const)(
    'are never less than a merge takes, and little more (%s)',
    async (_what, files, bits, threads) => {
      // Of this merge, in which its stations lie: what else has an arena, such as pieces of files, is not of the picture's size.
      const starting = vi.spyOn(StripPool, 'start');
      const { frames, out } = placeStack(await files());
      await merge(frames, { out, threads, direction: 'near-to-far' });
      const taken = Math.max(...starting.mock.calls.map(([arena]) => arena.peakBytes));
      starting.mockRestore();
      const [first] = Object.values(await files());
      const { width, height } = await sharp(first).metadata();
      const count = Object.keys(await files()).length;
      const reckoned = workingBytes({ size: { width, height }, bits, frames: count }, threads);
      expect(reckoned).toBeGreaterThanOrEqual(taken);
      expect(reckoned).toBeLessThan(1.15 * taken + (2 << 20));
    },
  );
});

describe('frames larger than the memory of the machine can hold', () => {
  const onMachine = (machineMb: number, bits: 8 | 16, megapixels: number) => () => {
    const side = Math.round(Math.sqrt(megapixels * 1e6));
    refuseOversized({ size: { width: side, height: side }, bits, frames: 30 }, undefined, machineMb);
  };

  it('are refused by their size alone, and those that fit are not', () => {
    expect(onMachine(16_000, 8, 150)).not.toThrow();
    expect(onMachine(16_000, 16, 150)).not.toThrow();
    expect(onMachine(8000, 8, 61)).not.toThrow();
    expect(onMachine(8000, 16, 150)).toThrow(InputError);
    expect(onMachine(8000, 16, 150)).toThrow(/need about 1\d{4} MB to merge, and this machine has 8000 MB/);
  });

  it('are merged, however large, where there is memory for them', () => {
    for (const megapixels of [100, 225, 400]) expect(onMachine(1e6, 16, megapixels)).not.toThrow();
  });

  it('are refused by merge from the headers, and by the plan of a batch', async () => {
    const size = { width: 12_000, height: 9_000 };
    const picture = sharp({ create: { ...size, channels: 3, background: '#777' } });
    const bytes = await picture.png({ compressionLevel: 1 }).toBuffer();
    const { frames, out } = placeStack({ 'a.png': bytes, 'b.png': bytes });
    const stages: string[] = [];
    const onEvent = (event: MergeEvent) => void (event.event === 'stage' && stages.push(event.stage));
    const refusal = await merge(frames, { out, memoryMb: 4096 }, { onEvent }).catch(
      (error: unknown) => error,
    );
    expect(refusal).toBeInstanceOf(InputError);
    expect(String(refusal)).toMatch(
      /12000 x 9000 pixels of 8 bits need about \d+ MB to merge, and 4096 MB are allowed/,
    );
    expect(stages).toEqual(['list']);
    const found = {
      key: 'a',
      name: 'a',
      folder: frames,
      frames: 3,
      size,
      channels: 3,
      bits: 8,
      files: [],
    } as const;
    const findings = { stacks: [{ ...found, files: [] }], passed: [], partings: [] };
    const plan = await planDiscovered(
      resolveBatch(frames, { merge: { memoryMb: 4096 } }),
      nightState([]),
      findings,
    );
    expect(plan.faults.map(({ reason }) => reason)).toEqual([expect.stringMatching(/4096 MB are allowed/)]);
  });
});

describe('the memory of a merge', () => {
  const load = { size: { width: 6000, height: 4000 }, bits: 8, frames: 40 } as const;

  it('grows with threads, frames, pixels and bits', () => {
    const need = memoryNeedMb(load, 2);
    expect(memoryNeedMb(load, 4)).toBeGreaterThan(need + 15);
    expect(memoryNeedMb({ ...load, frames: 400 }, 2)).toBeGreaterThan(need + 50);
    expect(memoryNeedMb({ ...load, bits: 16 }, 2)).toBeGreaterThan(need + 300);
    expect(memoryNeedMb({ ...load, size: { width: 6000, height: 5000 } }, 2)).toBeGreaterThan(need + 350);
  });

  it('bounds the threads, and refuses what not even one fits', () => {
    const tight = memoryNeedMb(load, 3);
    expect(threadsWithin(load, 32, tight)).toBe(3);
    expect(threadsWithin(load, 2, tight)).toBe(2);
    expect(threadsWithin(load, 32, undefined)).toBe(32);
    expect(threadsWithin(load, 32, memoryNeedMb(load, 1) - 1)).toBeUndefined();
    expect(() => refuseOversized(load, memoryNeedMb(load, 1))).not.toThrow();
    expect(() => refuseOversized(load, memoryNeedMb(load, 1) - 1)).toThrow(
      /are allowed: allow more with memoryMb/,
    );
  });

  it('is in the guide as the program reckons it, with the most frames', () => {
    const guide = readFileSync(new URL('../../src/guide/limits.md', import.meta.url), 'utf8');
    expect(guide).toContain(memoryFormulaText());
    expect(guide).toContain(`up to ${maxFrames} frames`);
  });

  it('is told by the formula of the same numbers', () => {
    // The formula as a reader would reckon with it, from the text alone.
    const numbers = memoryFormulaText()
      .match(/\d+(\.\d+)?/g)!
      .map(Number);
    const [base, thread, kilopixel, , frame, pixel, pixel16, , stored, reduced] = numbers;
    for (const [width, height, bits, frames, threads, share] of [
      [6000, 4000, 8, 40, 2, 16],
      [1200, 800, 8, 40, 32, 1],
      [3000, 2000, 16, 300, 4, 4],
      [6000, 4000, 'stored', 30, 2, 16],
    ] as const) {
      const megapixels = (width * height) / 1e6;
      const told =
        base +
        threads * (thread + (kilopixel * width) / 1000) +
        frame * frames +
        { 8: pixel, 16: pixel16, stored }[bits] * megapixels +
        (reduced * megapixels) / share;
      const load = bits === 'stored' ? ({ bits: 16, isStored: true } as const) : ({ bits } as const);
      expect(memoryNeedMb({ size: { width, height }, frames, ...load }, threads)).toBe(Math.ceil(told));
    }
  });
});

/** Peak resident set of a process, MB, followed until it ends; 0 where the system does not tell. */
async function peakOf(args: string[]): Promise<{ status: number | null; peakMb: number; words: string }> {
  const child = spawn(process.execPath, [program, ...args], { stdio: ['ignore', 'ignore', 'pipe'] });
  let peakMb = 0;
  let words = '';
  child.stderr.on('data', (chunk: Buffer) => {
    words += chunk.toString();
    // The high-water mark only rises, so that looking whenever the program speaks misses little.
    const status = existsSync(`/proc/${child.pid}/status`)
      ? readFileSync(`/proc/${child.pid}/status`, 'utf8')
      : '';
    peakMb = Math.max(peakMb, (Number(/^VmHWM:\s*(\d+) kB/m.exec(status)?.[1] ?? 0) * 1024) / 1e6);
  });
  const status = await new Promise<number | null>((resolve) => child.once('close', resolve));
  return { status, peakMb, words };
}

describe.runIf(process.platform === 'linux')('--memory', () => {
  it.each([
    ['a small stack with many threads asked for', () => small, 32, { width: 240, height: 180 }],
    ['frames of 0.7 megapixels', () => wide, 32, { width: 1000, height: 700 }],
    ['frames of 0.7 megapixels in one thread', () => wide, 1, { width: 1000, height: 700 }],
  ])('bounds what the process takes: %s', async (_what, files, threads, size) => {
    const { frames, out } = placeStack(files());
    const load = { size, bits: 8, frames: Object.keys(files()).length } as const;
    // Room for two threads and a half.
    const allowed = Math.max(256, memoryNeedMb(load, Math.min(2, threads)) + 5);
    const args = ['merge', frames, '--out', out, '--threads', String(threads), '--memory', String(allowed)];
    const { status, peakMb, words } = await peakOf(args);
    expect(status).toBe(0);
    expect(peakMb).toBeGreaterThan(80);
    expect(peakMb).toBeLessThanOrEqual(allowed);
    if (threads === 32) expect(words).toMatch(/\d of 32 threads compute/);
  });
});
