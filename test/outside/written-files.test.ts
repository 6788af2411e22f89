import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { inflateSync } from 'node:zlib';
import { PNG } from 'pngjs';
import sharp from 'sharp';
import { decodeImage, decode as decodeTiff, type IFD } from 'utif2';
import { expect, test } from 'vitest';
import { pieceKernels } from '../../src/kernels/piece-kernels.js';
import { crc32, tableCrc32 } from '../../src/result/checksums.js';
import { writePng } from '../../src/result/png-file.js';
import { writeTiff } from '../../src/result/tiff-file.js';
import { writeComposite } from '../../src/result/write-composite.js';
import { writeMaps } from '../../src/result/write-maps.js';
import { temporaryFolder } from '../result/temporary-folder.js';
import { seededRandom } from './seeded-random.js';

const software = 'Lamella 0.1.0';

function noise<T extends Uint8Array | Uint16Array>(samples: T): T {
  const random = seededRandom(3);
  const range = samples instanceof Uint8Array ? 256 : 65536;
  for (let i = 0; i < samples.length; i++) samples[i] = random() * range;
  return samples;
}

function readTiff(path: string): IFD {
  const bytes = readFileSync(path);
  const [ifd] = decodeTiff(bytes);
  decodeImage(bytes, ifd);
  return ifd;
}

test('a TIFF of 16-bit RGB has its tags and samples for a second reader', async () => {
  const path = join(temporaryFolder(), 'composite.tif');
  const samples = noise(new Uint16Array(301 * 203 * 3));
  await writeTiff(path, samples, 301, 203, 3, { software });
  const ifd = readTiff(path);
  expect(ifd).toMatchObject({ width: 301, height: 203 });
  expect([ifd.t258, ifd.t259, ifd.t262, ifd.t277, ifd.t284, ifd.t274, ifd.t339, ifd.t305]).toEqual([
    [16, 16, 16],
    [1],
    [2],
    [3],
    [1],
    [1],
    [1, 1, 1],
    [software],
  ]);
  expect(Buffer.compare(ifd.data, Buffer.from(samples.buffer))).toBe(0);
});

test('depth.tif is one channel of 32-bit floats for a second reader, NaN included', async () => {
  const folder = temporaryFolder();
  const depth = new Float32Array([Number.NaN, -1.25, 0, 3.2, 1e-20, 65536.5]);
  const bytes = new Uint8Array(6);
  const maps = {
    width: 3,
    height: 2,
    depth,
    sources: new Uint16Array(6),
    confidence: bytes,
    coverage: bytes,
  };
  await writeMaps(folder, maps, { unit: 'mm', software });
  const path = join(folder, 'depth.tif');
  const [ifd] = decodeTiff(readFileSync(path));
  expect([ifd.t258, ifd.t277, ifd.t339, ifd.t262]).toEqual([[32], [1], [3], [1]]);
  const [offset] = ifd.t273 as number[];
  const stored = readFileSync(path);
  expect(Array.from(depth, (_, i) => stored.readFloatLE(offset + 4 * i))).toEqual([...depth]);
});

test('BigTIFF has its header, and its samples for a second reader', async () => {
  const path = join(temporaryFolder(), 'big.tif');
  const samples = noise(new Uint16Array(501 * 407 * 3));
  await writeTiff(path, samples, 501, 407, 3, { big: true, software });
  const head = readFileSync(path).subarray(0, 8);
  expect([...head]).toEqual([0x49, 0x49, 43, 0, 8, 0, 0, 0]);
  const read = await sharp(path).toColourspace('rgb16').raw({ depth: 'ushort' }).toBuffer();
  expect(Buffer.compare(read, Buffer.from(samples.buffer))).toBe(0);
});

test.each([
  [1, 8, 0],
  [3, 8, 2],
  [1, 16, 0],
  [3, 16, 2],
] as const)(
  'a PNG of %i channels and %i bits has its samples for a second reader',
  async (channels, bits, colourType) => {
    const path = join(temporaryFolder(), 'composite.png');
    const [width, height] = [701, 503];
    const count = width * height * channels;
    const samples = noise(bits === 8 ? new Uint8Array(count) : new Uint16Array(count));
    const perRow = width * channels;
    const row = (y: number) => samples.subarray(y * perRow, (y + 1) * perRow);
    await writePng(path, { width, height, channels, bits, row });

    // Checks the sums of every chunk and of the deflated stream on the way.
    const png = PNG.sync.read(readFileSync(path), { skipRescale: true });
    expect(png).toMatchObject({ width, height, depth: bits, colorType: colourType });
    let wrong = 0;
    for (let i = 0; i < width * height; i++) {
      for (let channel = 0; channel < channels; channel++) {
        if (png.data[i * 4 + channel] !== samples[i * channels + channel]) wrong++;
      }
    }
    expect(wrong).toBe(0);
    const sample = bits === 8 ? 'uchar' : 'ushort';
    const space = ({ 1: { 8: 'b-w', 16: 'grey16' }, 3: { 8: 'srgb', 16: 'rgb16' } } as const)[channels][bits];
    const read = await sharp(path).toColourspace(space).raw({ depth: sample }).toBuffer();
    expect(Buffer.compare(read, Buffer.from(samples.buffer))).toBe(0);
  },
);

test('coverage.png holds the class numbers themselves as palette indices', async () => {
  const folder = temporaryFolder();
  const coverage = new Uint8Array([0, 1, 2, 3, 4, 5, 4, 3]);
  const maps = {
    width: 4,
    height: 2,
    depth: new Float32Array(8),
    sources: new Uint16Array(8),
    confidence: coverage,
  };
  const { coverage: record } = await writeMaps(folder, { ...maps, coverage }, { unit: 'step', software });
  const file = readFileSync(join(folder, 'coverage.png'));
  expect(indicesOf(file, 4, 2)).toEqual([...coverage]);

  const { data } = PNG.sync.read(file);
  coverage.forEach((value, i) => {
    const colour = `#${data.subarray(i * 4, i * 4 + 3).toString('hex')}`;
    expect(colour).toBe(record.classes[value].colour);
  });
  expect(record.classes.map(({ name, percent }) => [name, percent])).toEqual([
    ['covered', 12.5],
    ['before-first', 12.5],
    ['after-last', 12.5],
    ['gap', 25],
    ['no-detail', 25],
    ['out-of-reach', 12.5],
  ]);
});

test('checksums agree with the examples of their specifications', () => {
  // "123456789": CRC-32/ISO-HDLC of the CRC catalogue; "Wikipedia": Adler-32 of the encyclopaedia's example.
  for (const check of [crc32, tableCrc32]) {
    expect(check(Buffer.from('1234'), Buffer.from('56789'))).toBe(0xcbf43926);
  }
  const kernels = pieceKernels();
  const [bytes] = kernels.take(9);
  bytes.set(Buffer.from('Wikipedia'));
  expect(kernels.adlerOf({ bytes: bytes.byteOffset, count: 9, adler: 1 })).toBe(0x11e60398);
});

test('a JPEG keeps full colour resolution and comes close to its samples', async () => {
  const folder = temporaryFolder();
  const pixels = new Uint16Array(64 * 48 * 3);
  for (let i = 0; i < pixels.length; i++) pixels[i] = 20000 + 300 * (i % 64) + 4000 * (i % 3);
  const picture = { pixels, width: 64, height: 48, channels: 3 } as const;
  const record = await writeComposite(folder, picture, { format: 'jpg', software });
  expect(record).toMatchObject({ file: 'composite.jpg', bits: 8 });
  const path = join(folder, 'composite.jpg');
  expect(await sharp(path).metadata()).toMatchObject({ chromaSubsampling: '4:4:4', width: 64, height: 48 });
  const read = await sharp(path).raw().toBuffer();
  let sum = 0;
  for (let i = 0; i < pixels.length; i++) sum += Math.abs(read[i] - pixels[i] / 257);
  expect(sum / pixels.length).toBeLessThan(3);
});

/** Palette indices of a small 8-bit PNG whose rows are filtered by 'none' or 'up'. */
function indicesOf(file: Buffer, width: number, height: number): number[] {
  const parts: Buffer[] = [];
  for (let at = 8; at < file.length; at += 12 + file.readUInt32BE(at)) {
    if (file.toString('latin1', at + 4, at + 8) === 'IDAT')
      parts.push(file.subarray(at + 8, at + 8 + file.readUInt32BE(at)));
  }
  const rows = inflateSync(Buffer.concat(parts));
  const indices: number[] = [];
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const stored = rows[y * (width + 1) + 1 + x];
      const isUp = rows[y * (width + 1)] === 2;
      indices.push((stored + (isUp && y > 0 ? indices[(y - 1) * width + x] : 0)) & 255);
    }
  }
  return indices;
}
