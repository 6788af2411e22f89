import { deflateSync } from 'node:zlib';
import { describe, expect, it, test } from 'vitest';
import { Arena } from '../../src/kernels/arena.js';
import { directKernels } from '../../src/kernels/direct-kernels.js';
import { pieceKernels } from '../../src/kernels/piece-kernels.js';
import { crc32, tableCrc32 } from '../../src/result/checksums.js';
import { seededRandom } from '../register/textured-stack.js';
import { KernelRig } from './kernel-rig.js';

const kernels = pieceKernels();

function noise(count: number, seed: number): Uint8Array<ArrayBuffer> {
  const random = seededRandom(seed);
  return Uint8Array.from({ length: count }, () => 128 + 127 * random());
}

describe('filterRows', () => {
  it.each([
    [8, 1],
    [8, 47],
    [8, 320],
    [16, 2],
    [16, 94],
    [16, 640],
  ])('subtracts the row above, most significant byte first: %i bits, %i bytes a row', (bits, rowBytes) => {
    const rows = 5;
    const given = noise((rows + 1) * rowBytes, rowBytes);
    const [samples, out] = kernels.take(given.length, rows * (rowBytes + 1));
    samples.set(given);
    kernels.filterRows({ samples: samples.byteOffset, rowBytes, rows, bits, out: out.byteOffset });
    const expected = Array.from({ length: rows }, (_, y) => [
      2,
      ...Array.from({ length: rowBytes }, (_, x) => {
        const at = rowBytes * y + (bits === 8 ? x : x ^ 1);
        return (given[at + rowBytes] - given[at]) & 255;
      }),
    ]).flat();
    expect([...out]).toEqual(expected);
  });
});

describe('adlerOf', () => {
  it.each([0, 1, 15, 16, 17, 5551, 5552, 5553, 100_003])('equals that of zlib over %i bytes', (count) => {
    // All bytes at their highest make the largest sums.
    for (const given of [noise(count, count), new Uint8Array(count).fill(255)]) {
      const [bytes] = kernels.take(count);
      bytes.set(given);
      const half = count >> 1;
      const first = kernels.adlerOf({ bytes: bytes.byteOffset, count: half, adler: 1 });
      const whole = kernels.adlerOf({ bytes: bytes.byteOffset + half, count: count - half, adler: first });
      expect(whole >>> 0).toBe(deflateSync(given).readUInt32BE(deflateSync(given).length - 4));
    }
  });
});

describe('peakSamples', () => {
  it.each([
    [8, 24, 6],
    [8, 255, 2],
    [16, 24 * 257, 6],
    [16, 24 * 257, 3],
  ] as const)('lists what exceeds both neighbours: %i bits, by %i, %i aside', (bits, excess, aside) => {
    const count = 1003;
    const bytes = noise((count + 2 * aside) * (bits / 8), excess);
    const given = bits === 8 ? bytes : new Uint16Array(bytes.buffer);
    given[aside + 40] = 2 ** bits - 1;
    given[40] = 0;
    given[2 * aside + 40] = 0;
    const [samples, out] = kernels.take(given.byteLength, 4 * count);
    samples.set(bytes);
    const found = kernels.peakSamples({
      samples: samples.byteOffset + aside * (bits / 8),
      bits,
      count,
      aside,
      excess,
      out: out.byteOffset,
    });
    const expected = Array.from({ length: count }, (_, i) => i).filter(
      (i) => given[i + aside] - given[i] >= excess && given[i + aside] - given[i + 2 * aside] >= excess,
    );
    expect(expected).toContain(40);
    expect([...new Uint32Array(out.buffer, out.byteOffset, found)]).toEqual(expected);
  });
});

test('the check of a chunk is the same by the table and by zlib', () => {
  const bytes = noise(1001, 5);
  expect(crc32(bytes.subarray(0, 7), bytes.subarray(7))).toBe(tableCrc32(bytes));
});

describe('countTold', () => {
  it.each([0, 1, 7, 8, 9, 64, 1003])('counts what is not zero among %i elements', (count) => {
    const arena = new Arena();
    const { countTold } = directKernels(arena, ['countTold']);
    const from = arena.take(2 * count + 64);
    // What lies behind them does not count.
    const values = arena.u16(from, count + 16).fill(7);
    const random = seededRandom(count + 1);
    for (let i = 0; i < count; i++) values[i] = random() < 0.2 ? 0 : 65535 * Math.abs(random());
    const told = values.subarray(0, count).reduce((sum, value) => sum + (value === 0 ? 0 : 1), 0);
    expect(countTold({ from, count })).toBe(told);
  });
});

it('clearStrip clears its rows of all planes with their ends, and nothing beside them', async () => {
  const rig = await KernelRig.start();
  const { arena } = rig;
  const [width, height] = [37, 41];
  const planes = arena.takePlanes(width, height, 2, 4);
  const { pointer, stride, planeBytes } = planes;
  const all = arena.f32(pointer - 64 - 128, (2 * planeBytes + 128) / 4).fill(1);
  rig.run('clearStrip', [pointer, stride, planeBytes, 2, height], height);
  for (let plane = 0; plane < 2; plane++) {
    const first = 32 + (plane * planeBytes) / 4;
    const rows = all.subarray(first, first + stride * height);
    expect(rows.every((value) => value === 0)).toBe(true);
    expect([all[first - 1], all[first + stride * height]]).toEqual([1, 1]);
  }
});
