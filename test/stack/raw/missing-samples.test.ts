import { writeFileSync } from 'node:fs';
import { open } from 'node:fs/promises';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { lacksSamples } from '../../../src/stack/raw/missing-samples.js';
import { readStack } from '../../../src/stack/read-stack.js';
import { makeFolder } from '../pictures.js';
import { buildDng } from './dng.js';
import { type Field, writeDirectories } from './dng-directories.js';

async function isLacking(bytes: Buffer): Promise<boolean> {
  const path = join(makeFolder(), 'a.raw');
  writeFileSync(path, bytes);
  const handle = await open(path);
  try {
    return await lacksSamples(handle);
  } finally {
    await handle.close();
  }
}

/** A raw file of two strips, of which the second is the last thing in it. */
function twoStrips(isDng: boolean): { bytes: Buffer; secondAt: number } {
  const strips: Field[] = [
    { tag: 256, longs: [64] },
    { tag: 257, longs: [4] },
    { tag: 273, longs: [1000, 1256] },
    { tag: 279, longs: [256, 256] },
  ];
  const version = isDng ? [{ tag: 50706, bytes: [1, 4, 0, 0] }] : [];
  const head = writeDirectories([...version, { tag: 330, directory: strips }]);
  return { bytes: Buffer.concat([head, Buffer.alloc(1512 - head.length, 1)]), secondAt: 1256 };
}

/** A tiled DNG of 2 x 2 tiles with the offsets of so many of them. */
function tiled(count: number): Buffer {
  return writeDirectories([
    { tag: 50706, bytes: [1, 4, 0, 0] },
    { tag: 256, longs: [100] },
    { tag: 257, longs: [80] },
    { tag: 322, longs: [64] },
    { tag: 323, longs: [64] },
    { tag: 324, longs: new Array<number>(count).fill(8) },
    { tag: 325, longs: new Array<number>(count).fill(1) },
  ]);
}

/** An RW2 of 28 x 10 samples in coding 4: 16 bytes for each 14 samples. */
function rw2(sampleBytes: number, coding = 4): Buffer {
  const bytes = writeDirectories([
    { tag: 2, shorts: [28] },
    { tag: 3, shorts: [10] },
    { tag: 45, shorts: [coding] },
    { tag: 280, block: Buffer.alloc(sampleBytes) },
  ]);
  bytes[2] = 0x55;
  return bytes;
}

describe('samples that are not in the file', () => {
  it('are found where a strip or tile is not, or not whole', async () => {
    const { bytes, secondAt } = twoStrips(true);
    expect(await isLacking(bytes)).toBe(false);
    expect(await isLacking(bytes.subarray(0, -1))).toBe(true);
    // LibRaw reports a strip that ends early, and cameras write odd lengths.
    const other = twoStrips(false).bytes;
    expect(await isLacking(other.subarray(0, -1))).toBe(false);
    expect(await isLacking(other.subarray(0, secondAt))).toBe(true);
    expect([await isLacking(tiled(4)), await isLacking(tiled(3))]).toEqual([false, true]);
  });

  it('are found in an RW2 by the size of its samples, but for codings without a fixed one', async () => {
    expect(await isLacking(rw2(320))).toBe(false);
    expect(await isLacking(rw2(318))).toBe(true);
    expect(await isLacking(rw2(100, 8))).toBe(false);
  });

  it('keep a file out of the stack, with what to do', async () => {
    const whole = buildDng({ width: 32, height: 24, mosaic: new Uint16Array(32 * 24).fill(9000) });
    const folder = makeFolder({ 'a.dng': whole, 'b.dng': whole, 'c.dng': whole.subarray(0, 1200) });
    const { frames, warnings } = await readStack(folder);
    expect(frames.map(({ name }) => name)).toEqual(['a.dng', 'b.dng']);
    expect(warnings.map(({ message }) => message)).toEqual([
      'c.dng is left out: it is cut short or damaged (samples are missing): copy it again from the card.',
    ]);
  });
});
