import { readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { crc32, deflateSync } from 'node:zlib';
import sharp from 'sharp';
import { describe, expect, it } from 'vitest';
import { encodeLight } from '../../../samples/sensor.js';
import { listingFindings } from '../../../src/check/listing-findings.js';
import { decodeFrame } from '../../../src/stack/decode.js';
import { readRawExif } from '../../../src/stack/exif.js';
import type { FrameFile } from '../../../src/stack/frame.js';
import { parseExif } from '../../../src/stack/parse-exif.js';
import { developStack } from '../../../src/stack/raw/develop-stack.js';
import { DevelopedFrames } from '../../../src/stack/raw/developed-frames.js';
import type { DevelopmentOptions } from '../../../src/stack/raw/development.js';
import { iccProfile } from '../../../src/stack/raw/icc-profile.js';
import { readStack } from '../../../src/stack/read-stack.js';
import { makeFolder, tagOrientation } from '../pictures.js';
import { cameraColour, cameraMatrix, srgbToXyz, times, xyzToP3, xyzToRec2020 } from './colours.js';
import { type BayerPattern, buildDng, type DngParts, mosaicOf, srgbMatrix } from './dng.js';

const asShot: DevelopmentOptions = { whiteBalance: 'camera', exposureStops: 0, colourSpace: 'srgb' };
const [width, height] = [64, 48];

/** Linear sRGB of eight fields, 4 x 2, that fill the picture. */
const fields = [
  ...[0.8, 0.8, 0.8, 0.18, 0.18, 0.18, 0.5, 0.2, 0.15, 0.2, 0.45, 0.2],
  ...[0.15, 0.2, 0.5, 0.6, 0.55, 0.2, 0.02, 0.02, 0.02, 0.4, 0.25, 0.5],
];

function fieldOf(x: number, y: number): number[] {
  const i = Math.floor((x * 4) / width) + 4 * Math.floor((y * 2) / height);
  return fields.slice(3 * i, 3 * i + 3);
}

/** The fields as the made-up camera sees them under D65. */
function fieldsDng(parts: Partial<DngParts> = {}, light = 1): Buffer {
  const linear = new Float32Array(width * height * 3);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++)
      linear.set(
        cameraColour(fieldOf(x, y)).map((value) => value * light),
        (y * width + x) * 3,
      );
  }
  const { bits = 14, pattern = 'RGGB', blackLevel = 2 ** bits / 32 } = parts;
  const whiteLevel = 2 ** bits - 1;
  return buildDng({
    ...{ width, height, bits, pattern, blackLevel, whiteLevel },
    mosaic: mosaicOf(linear, width, height, pattern, blackLevel, whiteLevel),
    xyzToCamera: cameraMatrix,
    neutral: cameraColour([1, 1, 1]),
    ...parts,
  });
}

/** Frames of the files, developed alike by the first. */
async function framesOf(
  files: Record<string, Buffer>,
  options: Partial<DevelopmentOptions> = {},
): Promise<FrameFile[]> {
  const stack = await readStack(makeFolder(files));
  return (await developStack(stack, 1, { ...asShot, ...options })).stack.frames;
}

/** The encoded colour in the middle of each field, 0 to 1. */
async function coloursOf(frame: FrameFile): Promise<number[][]> {
  const { pixels } = await decodeFrame(frame);
  return [12, 36].flatMap((y) =>
    [8, 24, 40, 56].map((x) => {
      const at = (y * width + x) * 3;
      return Array.from(pixels.subarray(at, at + 3), (value) => value / 65_535);
    }),
  );
}

function expectColours(found: number[][], expected: (rgb: number[]) => number[], tolerance = 0.004): void {
  found.forEach((colour, i) => {
    const wanted = expected(fields.slice(3 * i, 3 * i + 3)).map(encodeLight);
    for (const [c, value] of colour.entries()) {
      expect(Math.abs(value - wanted[c]), `field ${i} channel ${c}: ${colour} for ${wanted}`).toBeLessThan(
        tolerance,
      );
    }
  });
}

describe('colours of a raw file', () => {
  it('are those that the matrices of the DNG specification give, in each colour space', async () => {
    const spaces = {
      srgb: (rgb: number[]) => rgb,
      'display-p3': (rgb: number[]) => times(xyzToP3, times(srgbToXyz, rgb)),
      rec2020: (rgb: number[]) => times(xyzToRec2020, times(srgbToXyz, rgb)),
    } as const;
    const files = { 'a.dng': fieldsDng(), 'b.dng': fieldsDng() };
    for (const [colourSpace, expected] of Object.entries(spaces)) {
      const [frame] = await framesOf(files, { colourSpace: colourSpace as keyof typeof spaces });
      expectColours(await coloursOf(frame), expected);
    }
  });

  it('are named by a profile that a second reader understands', async () => {
    // Little CMS, in the image library, takes the colours of each space to sRGB.
    for (const [space, fromXyz] of [['display-p3', xyzToP3] as const, ['rec2020', xyzToRec2020] as const]) {
      const rgb = [0.5, 0.3, 0.2];
      const encoded = times(fromXyz, times(srgbToXyz, rgb)).map((value) => encodeLight(value) * 255);
      const tagged = await sharp(Buffer.from(Array.from({ length: 16 }, () => encoded).flat()), {
        raw: { width: 4, height: 4, channels: 3 },
      })
        .png()
        .toBuffer();
      const withProfile = Buffer.concat([
        tagged.subarray(0, 33),
        iccpChunk(iccProfile(space)),
        tagged.subarray(33),
      ]);
      const { data } = await sharp(withProfile)
        .toColourspace('srgb')
        .raw()
        .toBuffer({ resolveWithObject: true });
      for (const [c, value] of rgb.entries())
        expect(Math.abs(data[c] - encodeLight(value) * 255)).toBeLessThan(2);
    }
  });

  it.each(['RGGB', 'BGGR', 'GRBG', 'GBRG'] as BayerPattern[])(
    'are the same from a mosaic of %s',
    async (pattern) => {
      const [frame] = await framesOf({ 'a.dng': fieldsDng({ pattern }), 'b.dng': fieldsDng({ pattern }) });
      expectColours(await coloursOf(frame), (rgb) => rgb);
    },
  );

  it.each([12, 14, 16] as const)('are the same from %i bits', async (bits) => {
    const [frame] = await framesOf({ 'a.dng': fieldsDng({ bits }), 'b.dng': fieldsDng({ bits }) });
    expectColours(await coloursOf(frame), (rgb) => rgb);
  });
});

describe('a camera of unknown colours', () => {
  it.each([
    ['is named, with what to do', null, 1],
    ['is not suspected where the file brings its matrix', srgbMatrix, 0],
  ] as const)('%s', async (_, xyzToCamera, count) => {
    const dng = fieldsDng({ xyzToCamera, exif: [] });
    const stack = await readStack(makeFolder({ 'a.dng': dng, 'b.dng': dng }));
    const found = listingFindings(stack, []).filter(({ kind }) => kind === 'camera');
    expect(found).toHaveLength(count);
    for (const { rank, frames, message, advice } of found) {
      expect([rank, frames]).toEqual(['flaw', []]);
      expect(message).toContain('does not know the colours of this camera (Lamella Test Camera)');
      expect(advice).toMatch(/DNG.*16-bit TIFF/);
    }
  });
});

describe('a sensor without a Bayer mosaic', () => {
  /** LibRaw interpolates wide mosaics from 512 px on. */
  const large = { width: 540, height: 516 };
  const colour = [0.5, 0.3, 0.15];
  const mosaicBy = (samples: number, colourAt: (x: number, y: number) => number[]): Uint16Array => {
    const values: number[] = [];
    for (let y = 0; y < large.height; y++)
      for (let x = 0; x < large.width; x++) values.push(...colourAt(x, y));
    expect(values).toHaveLength(large.width * large.height * samples);
    return Uint16Array.from(values, (value) => Math.round(value * 65_535));
  };
  const wideMosaic = ['GBGGRG', 'RGRBGB', 'GBGGRG', 'GRGGBG', 'BGBRGR', 'GRGGBG'].join('');
  const wide = mosaicBy(1, (x, y) => [colour['RGB'.indexOf(wideMosaic[(y % 6) * 6 + (x % 6)])]]);

  it.each([
    ['with a mosaic of 6 x 6', { wideMosaic, mosaic: wide }, colour],
    ['that samples all colours', { samplesPerPixel: 3, mosaic: mosaicBy(3, () => colour) }, colour],
    ['without colours', { samplesPerPixel: 1, mosaic: mosaicBy(1, () => [0.3]) }, [0.3]],
  ] as const)('%s is developed to its colours, whole and halved', async (_, parts, expected) => {
    const dng = buildDng({ ...large, ...parts });
    const [frame] = await framesOf({ 'a.dng': dng, 'b.dng': dng });
    for (const shrink of [1, 2] as const) {
      const { pixels, width: wide, height: high, channels } = await decodeFrame(frame, { shrink });
      expect([wide, high, channels]).toEqual([large.width / shrink, large.height / shrink, expected.length]);
      const at = ((high >> 1) * wide + (wide >> 1)) * channels;
      for (const [c, value] of expected.entries())
        expect(Math.abs(pixels[at + c] / 65_535 - encodeLight(value))).toBeLessThan(0.001);
    }
  });
});

describe('raw files of a stack', () => {
  it('are developed alike, whatever each says of its white, and no brightness is evened out', async () => {
    const dark = fieldsDng({ neutral: [0.3, 1, 0.9] }, 0.5);
    const frames = await framesOf({ 'a.dng': fieldsDng(), 'b.dng': dark });
    expectColours(await coloursOf(frames[1]), (rgb) => rgb.map((value) => value / 2));
  });

  it('take black and white level from the anchor', async () => {
    const frames = await framesOf({ 'a.dng': fieldsDng(), 'b.dng': fieldsDng() });
    expect(frames[1].raw?.development).toMatchObject({ black: [512, 512, 512, 512], white: 16_383 - 512 });
    // Its own header lies: the same samples are the same light.
    const lying = await framesOf({
      'a.dng': fieldsDng(),
      'b.dng': buildLying(),
    });
    expectColours(await coloursOf(lying[1]), (rgb) => rgb);
  });

  it('take the white balance that is given, and so many stops more light', async () => {
    const files = { 'a.dng': fieldsDng(), 'b.dng': fieldsDng() };
    const white = cameraColour([1, 1, 1]);
    const given = white.map((value) => 1 / value) as [number, number, number];
    const [daylight] = await framesOf(files, { whiteBalance: 'daylight', exposureStops: -1 });
    expectColours(await coloursOf(daylight), (rgb) => rgb.map((value) => value / 2));
    const [factors] = await framesOf(files, { whiteBalance: given });
    expectColours(await coloursOf(factors), (rgb) => rgb);
    const [redder] = await framesOf(files, { whiteBalance: [2 * given[0], given[1], given[2]] });
    const grey = (await coloursOf(redder))[1];
    expect(grey[0]).toBeGreaterThan(1.2 * grey[1]);
  });

  /** The same samples as `fieldsDng`, under a header of other levels. */
  function buildLying(): Buffer {
    const linear = new Float32Array(width * height * 3);
    for (let i = 0; i < width * height; i++)
      linear.set(cameraColour(fieldOf(i % width, Math.floor(i / width))), 3 * i);
    return buildDng({
      ...{ width, height, bits: 14, blackLevel: 300, whiteLevel: 15_000 },
      mosaic: mosaicOf(linear, width, height, 'RGGB', 512, 16_383),
      xyzToCamera: cameraMatrix,
      neutral: cameraColour([1, 1, 1]),
    });
  }
});

describe('a raw file', () => {
  it('is turned upright by its orientation and cut to its default crop', async () => {
    const activeArea: [number, number, number, number] = [2, 4, 46, 62];
    const defaultCrop: [number, number, number, number] = [2, 4, 40, 36];
    const files: Record<string, Buffer> = {};
    for (let orientation = 1; orientation <= 8; orientation++) {
      // The mosaic counts from the corner of the active area, which lies on even places here.
      files[`${orientation}.dng`] = fieldsDng({ orientation, activeArea, defaultCrop });
    }
    const { frames: upright } = await readStack(
      makeFolder({ 'a.dng': files['1.dng'], 'b.dng': files['1.dng'] }),
    );
    const plain = await decodeFrame(upright[0]);
    expect([plain.width, plain.height]).toEqual([40, 36]);
    // The crop begins 2 + 4 columns and 4 + 2 rows into the sensor: the first field ends at its column 16.
    const edge = Array.from({ length: 40 }, (_, x) => plain.pixels[(10 * 40 + x) * 3 + 1]).findIndex(
      (value) => value < 45_000,
    );
    expect(Math.abs(edge - (16 - 6))).toBeLessThanOrEqual(1);
    // The image library is the judge of the eight orientations (TIFF 6.0, Orientation).
    const tiff = await sharp(plain.pixels, { raw: { width: 40, height: 36, channels: 3 } })
      .toColourspace('rgb16')
      .tiff({ compression: 'none' })
      .toBuffer();
    for (let orientation = 2; orientation <= 8; orientation++) {
      const file = files[`${orientation}.dng`];
      const { frames } = await readStack(makeFolder({ 'a.dng': file, 'b.dng': file }));
      const decoded = await decodeFrame(frames[0]);
      const turned = await sharp(tagOrientation(tiff, orientation), { ignoreIcc: true })
        .autoOrient()
        .toColourspace('rgb16')
        .raw({ depth: 'ushort' })
        .toBuffer({ resolveWithObject: true });
      expect(frames[0].orientation).toBe(orientation);
      expect([decoded.width, decoded.height]).toEqual([turned.info.width, turned.info.height]);
      expect(Buffer.from(decoded.pixels.buffer).equals(turned.data), `orientation ${orientation}`).toBe(true);
    }
  });

  it('gives its EXIF: time, exposure, aperture, focal length and camera', async () => {
    const exif = [
      { tag: 33434, rationals: [[1, 200]] },
      { tag: 33437, rationals: [[56, 10]] },
      { tag: 34855, shorts: [400] },
      { tag: 36867, ascii: '2031:05:06 07:08:09' },
      { tag: 37386, rationals: [[105, 1]] },
      { tag: 37521, ascii: '25' },
    ];
    const file = fieldsDng({ exif, make: 'Acme', model: 'One' });
    const { frames } = await readStack(makeFolder({ 'a.dng': file, 'b.dng': file }));
    const expected = {
      takenMs: Date.UTC(2031, 4, 6, 7, 8, 9) + 250,
      exposureS: 0.005,
      fNumber: 5.6,
      iso: 400,
      focalLengthMm: 105,
      make: 'Acme',
      model: 'One',
    };
    expect(frames[0].exif).toMatchObject(expected);
    expect(parseExif((await readRawExif(frames[0]))!)).toMatchObject(expected);
  });

  it('is half as large, of the same light, where it is read quickly', async () => {
    const [frame] = await framesOf({ 'a.dng': fieldsDng(), 'b.dng': fieldsDng() });
    const half = await decodeFrame(frame, { shrink: 2 });
    expect([half.width, half.height]).toEqual([32, 24]);
    const grey = Array.from(half.pixels.subarray((6 * 32 + 12) * 3, (6 * 32 + 12) * 3 + 3));
    for (const value of grey) expect(Math.abs(value / 65_535 - encodeLight(0.18))).toBeLessThan(0.004);
  });

  it('is developed once where it is kept, and again, to the same, where there is no room for it', async () => {
    const stack = await readStack(makeFolder({ 'a.dng': fieldsDng(), 'b.dng': fieldsDng() }));
    const plain = await decodeFrame((await developStack(stack, 1, asShot)).stack.frames[0]);
    const folder = makeFolder();
    const roomy = new DevelopedFrames(folder);
    const [first] = (await developStack(stack, 1, asShot, roomy)).stack.frames;
    for (let reading = 0; reading < 2; reading++)
      expect((await decodeFrame(first)).pixels).toEqual(plain.pixels);
    expect(readdirSync(folder)).toEqual(['1.tif']);
    const { data } = await sharp(join(folder, '1.tif'))
      .toColourspace('rgb16')
      .raw({ depth: 'ushort' })
      .toBuffer({ resolveWithObject: true });
    expect(Buffer.from(plain.pixels.buffer).equals(data), 'a second reader').toBe(true);
    const full = new DevelopedFrames(join(folder, 'missing'));
    const [again] = (await developStack(stack, 1, asShot, full)).stack.frames;
    for (let reading = 0; reading < 2; reading++)
      expect((await decodeFrame(again)).pixels).toEqual(plain.pixels);
    expect([...full.refused]).toEqual([1]);
  });

  it('that is damaged is named when it is developed, with what to do', async () => {
    const whole = fieldsDng();
    const { frames } = await readStack(makeFolder({ 'a.dng': whole, 'b.dng': whole }));
    writeFileSync(frames[1].path, whole.subarray(0, 4000));
    const { fileMark: _, ...cut } = frames[1];
    await expect(decodeFrame(cut)).rejects.toThrow(
      /^b\.dng is cut short or damaged \(unexpected end of file\): copy it again from the card, or leave it out with skip 2\.$/,
    );
  });
});

/** A PNG chunk with a profile (PNG specification, 11.3.3.3). */
function iccpChunk(profile: Buffer): Buffer {
  const body = Buffer.concat([Buffer.from('iCCPx\0\0', 'latin1'), deflateSync(profile)]);
  const ends = Buffer.alloc(8);
  ends.writeUInt32BE(body.length - 4, 0);
  ends.writeUInt32BE(crc32(body), 4);
  return Buffer.concat([ends.subarray(0, 4), body, ends.subarray(4)]);
}
