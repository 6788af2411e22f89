import { deflateSync } from 'node:zlib';
import { describe, expect, it, test } from 'vitest';
import { pieceKernels } from '../../src/kernels/piece-kernels.js';
import { crc32, tableCrc32 } from '../../src/result/checksums.js';
import { seededRandom } from '../register/textured-stack.js';

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
