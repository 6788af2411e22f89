import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import ExifReader from 'exifreader';
import sharp from 'sharp';
import { beforeAll, expect, test } from 'vitest';
import { compositeExif } from '../../src/result/exif-block.js';
import { writeComposite } from '../../src/result/write-composite.js';
import { readIcc, readRawExif } from '../../src/stack/exif.js';
import { temporaryFolder } from '../result/temporary-folder.js';

const software = 'Lamella 0.1.0';
const picture = { pixels: new Uint8Array(6 * 4 * 3).fill(90), width: 6, height: 4, channels: 3 } as const;

let exif: Buffer;
let icc: Buffer;

beforeAll(async () => {
  const jpeg = await sharp({ create: { width: 40, height: 30, channels: 3, background: '#345' } })
    .withExif({
      IFD0: {
        Make: 'Bellows',
        Model: 'B 65',
        Software: 'firmware 9',
        ImageDescription: 'Samara, Füße',
        Copyright: 'us',
      },
      IFD2: {
        DateTimeOriginal: '2031:05:06 07:08:09',
        FNumber: '56/10',
        ExposureTime: '1/125',
        PixelXDimension: '40',
      },
      IFD3: { GPSLatitudeRef: 'N' },
    })
    .withMetadata({ orientation: 6 })
    .withIccProfile('p3')
    .jpeg()
    .toBuffer();
  const metadata = await sharp(jpeg).metadata();
  exif = metadata.exif!;
  icc = metadata.icc!;
});

test.each(['tif', 'png', 'jpg'] as const)(
  '%s carries the EXIF of the anchor, upright and at its own size',
  async (format) => {
    const folder = temporaryFolder();
    const record = await writeComposite(folder, picture, { format, software, exif, icc });
    expect(record).toMatchObject({ hasExif: true, hasIcc: true, notes: [] });
    const { exif: read } = ExifReader.load(readFileSync(join(folder, record.file)), { expanded: true });
    expect(read).toMatchObject({
      Make: { description: 'Bellows' },
      Model: { description: 'B 65' },
      Software: { description: software },
      Copyright: { description: 'us' },
      Orientation: { value: 1 },
      DateTimeOriginal: { description: '2031:05:06 07:08:09' },
      FNumber: { value: [56, 10] },
      ExposureTime: { value: [1, 125] },
      PixelXDimension: { value: 6 },
      PixelYDimension: { value: 4 },
      GPSLatitudeRef: { value: ['N'] },
    });
  },
);

test.each(['tif', 'png', 'jpg'] as const)(
  '%s carries the profile byte for byte and the pixels unconverted',
  async (format) => {
    const folder = temporaryFolder();
    const { file } = await writeComposite(folder, picture, { format, software, icc });
    const path = join(folder, file);
    expect((await sharp(path).metadata()).icc).toEqual(icc);
    const pixels = await sharp(path, { ignoreIcc: true }).raw().toBuffer();
    for (const value of pixels) expect(Math.abs(value - 90)).toBeLessThanOrEqual(format === 'jpg' ? 1 : 0);
  },
);

test('a profile too long for one segment of a JPEG comes back whole', async () => {
  const folder = temporaryFolder();
  const long = Buffer.concat([icc, Buffer.alloc(150_000, 7)]);
  long.writeUInt32BE(long.length, 0);
  await writeComposite(folder, picture, { format: 'jpg', software, icc: long });
  const read = (await sharp(join(folder, 'composite.jpg')).metadata()).icc!;
  expect(Buffer.compare(read, long)).toBe(0);
});

test('a merged TIFF can be a frame again with all it tells', async () => {
  const folder = temporaryFolder();
  await writeComposite(folder, picture, { format: 'tif', software, exif, icc });
  const path = join(folder, 'composite.tif');
  expect(await readIcc({ path })).toEqual(icc);
  const again = await readRawExif({ path, format: 'tiff' });
  expect(ExifReader.load(again!)).toMatchObject({
    Make: { description: 'Bellows' },
    FNumber: { value: [56, 10] },
  });
});

test('a profile of another number of channels is left out with a note', async () => {
  const folder = temporaryFolder();
  const grey = { pixels: new Uint8Array(24), width: 6, height: 4, channels: 1 } as const;
  const record = await writeComposite(folder, grey, { format: 'png', software, icc });
  expect(record).toMatchObject({ hasIcc: false, notes: [expect.stringContaining('colour profile')] });
  expect((await sharp(join(folder, 'composite.png')).metadata()).icc).toBeUndefined();
});

test.each([
  ['empty', Buffer.alloc(0)],
  ['text', Buffer.from('Exif\0\0nonsense of no kind')],
  ['cut off', Buffer.from('49492a0008000000', 'hex')],
])('a damaged EXIF block never stops the writing: %s', async (_, block) => {
  const folder = temporaryFolder();
  const record = await writeComposite(folder, picture, { format: 'jpg', software, exif: block });
  expect((await sharp(join(folder, record.file)).metadata()).width).toBe(6);
});

test('every cut and every flipped byte of an EXIF block is survived', () => {
  for (let length = 0; length < exif.length; length++)
    compositeExif(exif.subarray(0, length), picture, software);
  for (let at = 6; at < exif.length; at++) {
    const flipped = Buffer.from(exif);
    flipped[at] ^= 0xff;
    compositeExif(flipped, picture, software);
  }
});

test('a big-endian block is turned, and what only its camera understands is dropped', async () => {
  const folder = temporaryFolder();
  const record = await writeComposite(folder, picture, { format: 'png', software, exif: bigEndianBlock() });
  expect(record.hasExif).toBe(true);
  const tags = ExifReader.load(readFileSync(join(folder, 'composite.png')));
  expect(tags).toMatchObject({
    Make: { description: 'Big' },
    Orientation: { value: 1 },
    ISOSpeedRatings: { value: 800 },
    ExposureTime: { value: [1, 250] },
  });
  expect(tags.MakerNote).toBeUndefined();
  expect(tags.PrintIM).toBeUndefined();
});

/** 'MM', IFD0 with make, orientation 8, print matching and an EXIF directory of exposure, ISO and maker note. */
function bigEndianBlock(): Buffer {
  const block = Buffer.alloc(120);
  block.write('MM\0*', 'latin1');
  block.writeUInt32BE(8, 4);
  const entry = (at: number, tag: number, type: number, count: number, value: number, short = false) => {
    block.writeUInt16BE(tag, at);
    block.writeUInt16BE(type, at + 2);
    block.writeUInt32BE(count, at + 4);
    if (short) block.writeUInt16BE(value, at + 8);
    else block.writeUInt32BE(value, at + 8);
  };
  block.writeUInt16BE(4, 8);
  entry(10, 271, 2, 4, 0x42696700);
  entry(22, 274, 3, 1, 8, true);
  entry(34, 34665, 4, 1, 64);
  entry(46, 50341, 7, 4, 0x01020304);
  block.writeUInt16BE(3, 64);
  entry(66, 33434, 5, 1, 108);
  entry(78, 34855, 3, 1, 800, true);
  entry(90, 37500, 7, 8, 108);
  block.writeUInt32BE(1, 108);
  block.writeUInt32BE(250, 112);
  return block;
}
