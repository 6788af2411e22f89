import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import ExifReader from 'exifreader';
import sharp from 'sharp';
import { describe, expect, it } from 'vitest';
import { readExif, readIcc, readRawExif } from '../../src/stack/exif.js';
import { parseExif } from '../../src/stack/parse-exif.js';
import { makeFolder } from './pictures.js';
import { buildTiff, type Field } from './tiff-builder.js';

const folder = makeFolder();

const main: Field[] = [
  { tag: 271, ascii: 'Maker of cameras' },
  { tag: 272, ascii: 'C1' },
  { tag: 274, shorts: [6] },
  { tag: 315, ascii: 'A. Photographer' },
];
const exif: Field[] = [
  { tag: 33434, rationals: [[1, 250]] },
  { tag: 33437, rationals: [[56, 10]] },
  { tag: 34855, shorts: [400] },
  { tag: 36867, ascii: '2024:05:06 07:08:09' },
  { tag: 37382, rationals: [[3, 10]] },
  { tag: 37386, rationals: [[65, 1]] },
  { tag: 37521, ascii: '25' },
  { tag: 41987, shorts: [1] },
  { tag: 42036, ascii: 'Macro 65' },
];
const gps: Field[] = [
  { tag: 1, ascii: 'N' },
  {
    tag: 2,
    rationals: [
      [47, 1],
      [30, 1],
      [0, 1],
    ],
  },
];
const facts = {
  takenMs: Date.UTC(2024, 4, 6, 7, 8, 9, 250),
  hasSubSeconds: true,
  exposureS: 1 / 250,
  fNumber: 5.6,
  iso: 400,
  focalLengthMm: 65,
  focusDistanceM: 0.3,
  make: 'Maker of cameras',
  model: 'C1',
  lens: 'Macro 65',
  whiteBalance: 'manual',
};

/** A JPEG with the block in an APP1 segment right after its start. */
async function jpegWithExif(block: Buffer): Promise<Buffer> {
  const bare = await sharp({ create: { width: 8, height: 8, channels: 3, background: 'grey' } })
    .jpeg()
    .toBuffer();
  const head = Buffer.from('\xff\xe1\0\0Exif\0\0', 'latin1');
  head.writeUInt16BE(block.length + 8, 2);
  return Buffer.concat([bare.subarray(0, 2), head, block, bare.subarray(2)]);
}

/** One directory of fields, as bytes of a TIFF; parsing takes whole files as well as blocks. */
const parsed = (...fields: Field[]) => parseExif(buildTiff({ exif: fields }));

describe('EXIF', () => {
  for (const [words, layout] of [
    ['little-endian TIFF', { littleEndian: true }],
    ['big-endian TIFF', { littleEndian: false }],
    ['little-endian BigTIFF', { littleEndian: true, big: true }],
    ['big-endian BigTIFF', { littleEndian: false, big: true }],
  ] as const) {
    it(`is read from a ${words}, and carried over with artist and place`, async () => {
      const path = join(folder, `${words}.tif`);
      writeFileSync(path, buildTiff({ ...layout, main, exif, gps }));
      expect(await readExif(path)).toEqual(facts);
      const block = await readRawExif({ path, format: 'tiff' });
      const tags = ExifReader.load(block!, { expanded: true });
      expect(tags.exif?.Artist?.description).toBe('A. Photographer');
      expect(tags.gps?.Latitude).toBe(47.5);
      // Where the pixels lie in the old file means nothing in another.
      expect(tags.exif).not.toHaveProperty('StripOffsets');
      // In a JPEG the block is understood by the image library too, and reads the same.
      const inJpeg = await jpegWithExif(block!);
      expect((await sharp(inJpeg).metadata()).orientation).toBe(6);
      expect(await readExif(inJpeg)).toEqual(facts);
    });
  }

  it('is read from JPEG, PNG and WebP', async () => {
    for (const format of ['jpeg', 'png', 'webp'] as const) {
      const path = join(folder, `a.${format}`);
      await sharp({ create: { width: 8, height: 8, channels: 3, background: 'grey' } })
        .withExif({
          IFD0: { Make: facts.make, Model: facts.model },
          IFD2: {
            ExposureTime: '1/250',
            FNumber: '56/10',
            ISOSpeedRatings: '400',
            DateTimeOriginal: '2024:05:06 07:08:09',
            SubjectDistance: '3/10',
            FocalLength: '65/1',
            SubSecTimeOriginal: '25',
            WhiteBalance: '1',
            LensModel: 'Macro 65',
          },
        })
        .toFormat(format)
        .toFile(path);
      expect(await readExif(path)).toEqual(facts);
      expect(await readExif(readFileSync(path))).toEqual(facts);
      const block = await readRawExif({ path, format });
      expect(block!.toString('latin1', 0, 2)).toMatch(/II|MM/);
      expect(ExifReader.load(block!, { expanded: true }).exif?.Make?.description).toBe(facts.make);
    }
  });

  it('is empty for a file that has none', async () => {
    const path = join(folder, 'bare.png');
    await sharp({ create: { width: 8, height: 8, channels: 3, background: 'grey' } })
      .png()
      .toFile(path);
    expect(await readExif(path)).toEqual({});
    expect(await readRawExif({ path, format: 'png' })).toBeUndefined();
    expect(await readIcc({ path })).toBeUndefined();
  });

  it('drops what cannot be true', () => {
    expect(parsed({ tag: 36867, ascii: '0000:00:00 00:00:00' })).toEqual({});
    expect(parsed({ tag: 36867, ascii: '2024:02:30 10:00:00' })).toEqual({});
    expect(parsed({ tag: 36867, ascii: '    :  :     :  :  ' })).toEqual({});
    expect(parsed({ tag: 33434, rationals: [[0, 0]] }, { tag: 33437, rationals: [[0, 1]] })).toEqual({});
    expect(parsed({ tag: 34855, shorts: [0] }, { tag: 37386, rationals: [[1, 0]] })).toEqual({});
    expect(parsed({ tag: 42036, ascii: '   ' })).toEqual({});
  });

  it('does not fail on damaged blocks', () => {
    const block = buildTiff({ main, exif });
    for (let length = 0; length < block.length; length += 7) {
      expect(() => parseExif(block.subarray(0, length))).not.toThrow();
    }
    expect(parseExif(Buffer.from('not a picture'))).toEqual({});
  });

  it('reads sub-seconds as decimal digits of the second', () => {
    const time = (digits: string) =>
      parsed({ tag: 36867, ascii: '2024:01:01 00:00:00' }, { tag: 37521, ascii: digits }).takenMs! -
      Date.UTC(2024, 0, 1);
    expect([time('5'), time('05'), time('050'), time('123   ')]).toEqual([500, 50, 50, 123]);
  });

  it('looks further where the sensitivity does not fit its tag', () => {
    expect(parsed({ tag: 34855, shorts: [65535] }, { tag: 34866, longs: [102400] }).iso).toBe(102400);
    expect(parsed({ tag: 34855, shorts: [65535] })).toEqual({});
  });
});

describe('the focused distance', () => {
  it('may be infinity, or not known (EXIF 2.32, SubjectDistance)', () => {
    const distance = (numerator: number, denominator = 1) =>
      parsed({ tag: 37382, rationals: [[numerator, denominator]] }).focusDistanceM;
    expect(distance(0xffffffff)).toBe(1e6);
    expect(distance(0xffffffff, 0xffffffff)).toBe(1e6);
    expect(distance(12, 10)).toBe(1.2);
    expect(distance(0)).toBeUndefined();
  });
});

describe('colour profile', () => {
  it('is returned byte for byte', async () => {
    const path = join(folder, 'p3.png');
    await sharp({ create: { width: 8, height: 8, channels: 3, background: 'grey' } })
      .withIccProfile('p3')
      .png()
      .toFile(path);
    const embedded = (await readIcc({ path }))!;
    // ICC.1:2010, 7.2: the size in the first four bytes, the signature "acsp" at 36.
    expect(embedded.readUInt32BE(0)).toBe(embedded.length);
    expect(embedded.toString('latin1', 36, 40)).toBe('acsp');
  });
});
