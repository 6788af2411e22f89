import { chmodSync, mkdirSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { beforeAll, describe, expect, it } from 'vitest';
import { InputError, InterruptedError, UsageError } from '../../src/errors.js';
import { decodeFrame } from '../../src/stack/decode.js';
import type { StackNote } from '../../src/stack/frame.js';
import { type ReadStackOptions, readStack } from '../../src/stack/read-stack.js';
import { claimingPng, jpeg, makeFolder } from './pictures.js';
import { buildTiff } from './tiff-builder.js';

let photograph: Buffer;
beforeAll(async () => {
  photograph = await jpeg();
});

const numbered = (count: number): Record<string, Buffer> =>
  Object.fromEntries(Array.from({ length: count }, (_, i) => [`f${i + 1}.jpg`, photograph]));

const namesOf = async (folder: string, options?: ReadStackOptions): Promise<string[]> =>
  (await readStack(folder, options)).frames.map((frame) => frame.name);

/** A stack with its notes and warnings as sentences. */
async function readWords(folder: string, options?: ReadStackOptions) {
  const stack = await readStack(folder, options);
  const words = (told: readonly StackNote[]) => told.map(({ message }) => message);
  return { ...stack, notes: words(stack.notes), warnings: words(stack.warnings) };
}

/** The message of the InputError that reading ends in. */
async function refusal(folder: string, options?: ReadStackOptions): Promise<string> {
  const error = await readStack(folder, options).then(
    () => undefined,
    (reason: unknown) => reason,
  );
  expect(error).toBeInstanceOf(InputError);
  return (error as Error).message;
}

/** Runs as a user whom permissions bind; root passes every one. */
async function asOrdinaryUser<T>(action: () => Promise<T>): Promise<T> {
  if (process.geteuid?.() !== 0) return action();
  process.seteuid!(65534);
  try {
    return await action();
  } finally {
    process.seteuid!(0);
  }
}

describe('what is read as a frame', () => {
  it('takes JPEG, PNG, TIFF and WebP by content, with endings in any case', async () => {
    const grey = sharp({ create: { width: 24, height: 16, channels: 3, background: 'grey' } });
    const folder = makeFolder({
      'IMG_10.JPG': photograph,
      'IMG_9.jpeg': photograph,
      'img_11.PNG': await grey.clone().png().toBuffer(),
      'IMG_12.Tif': await grey.clone().tiff({ compression: 'lzw' }).toBuffer(),
      'IMG_13.WEBP': await grey.clone().webp().toBuffer(),
      // A PNG under the name of a JPEG.
      'IMG_14.jpg': await grey.clone().png().toBuffer(),
      IMG_15: photograph,
    });
    const stack = await readStack(folder);
    expect(stack.frames.map(({ number, name, format }) => [number, name, format])).toEqual([
      [1, 'IMG_9.jpeg', 'jpeg'],
      [2, 'IMG_10.JPG', 'jpeg'],
      [3, 'img_11.PNG', 'png'],
      [4, 'IMG_12.Tif', 'tiff'],
      [5, 'IMG_13.WEBP', 'webp'],
      [6, 'IMG_14.jpg', 'png'],
      [7, 'IMG_15', 'jpeg'],
    ]);
    expect(stack).toMatchObject({
      folder,
      size: { width: 24, height: 16 },
      bits: 8,
      channels: 3,
      orderedBy: 'name',
      notes: [],
      warnings: [],
    });
    expect(stack.frames[1]).toMatchObject({ path: join(folder, 'IMG_10.JPG'), sizeBytes: photograph.length });
  });

  it('ignores files that are no photographs with one note', async () => {
    const folder = makeFolder({
      ...numbered(3),
      'a.txt': 'x',
      'b.xmp': 'x',
      'Thumbs.db': 'x',
      'c.csv': 'x',
      'd.md': '',
      'f1.jpg_original': photograph,
      'f2.jpg~': photograph,
    });
    const { notes, warnings, frames } = await readWords(folder);
    expect(frames).toHaveLength(3);
    expect(notes).toEqual(['7 files ignored as no photograph: a.txt, b.xmp, c.csv and 4 more.']);
    expect(warnings).toEqual([]);
  });

  it('does not mention hidden files and subfolders', async () => {
    const folder = makeFolder({
      ...numbered(2),
      '.DS_Store': 'x',
      '._f1.jpg': 'x',
      '.hidden.jpg': photograph,
    });
    mkdirSync(join(folder, 'merged.jpg'));
    writeFileSync(join(folder, 'merged.jpg', 'f3.jpg'), photograph);
    expect(await readStack(folder)).toMatchObject({
      frames: [{ name: 'f1.jpg' }, { name: 'f2.jpg' }],
      notes: [],
    });
  });

  it('leaves out what cannot be used, naming it and the reason', async () => {
    const folder = makeFolder({
      ...numbered(3),
      'empty.jpg': '',
      'text.JPG': 'a text',
      'stub.jpg': photograph.subarray(0, 60),
      'cut.tif': buildTiff({}).subarray(0, 60),
      'bomb.png': claimingPng(60_000, 60_000),
      'g.gif': Buffer.from('GIF89a\x01\0\x01\0\0\0\0;', 'latin1'),
    });
    symlinkSync(join(folder, 'nowhere'), join(folder, 'link.jpg'));
    const { frames, warnings } = await readWords(folder);
    expect(frames).toHaveLength(3);
    const expected = [
      /^bomb\.png is left out: it says it holds 60000 x 60000 pixels, more than the limit of 250 megapixels\.$/,
      /^cut\.tif is left out: it is cut short or damaged/,
      /^empty\.jpg is left out: it is empty \(0 bytes\)\.$/,
      /^g\.gif is left out: it is a GIF file: save it as TIFF, PNG or JPEG first\.$/,
      /^link\.jpg is left out: it cannot be read: it does not exist or is a broken link\.$/,
      /^stub\.jpg is left out: it is cut short or damaged/,
      /^text\.JPG is left out: it is no picture/,
    ];
    expect(warnings).toHaveLength(expected.length);
    for (const [i, pattern] of expected.entries()) expect(warnings[i]).toMatch(pattern);
    const kinds = (await readStack(folder)).warnings.map(({ kind }) => kind);
    expect(kinds).toEqual(['unfit', 'lost', 'lost', 'unfit', 'lost', 'lost', 'unfit']);

    const strict = await refusal(folder, { strict: true });
    expect(strict).toMatch(
      /^7 files cannot be used: bomb\.png says it holds .*, empty\.jpg is empty .* and 2 more\./,
    );
  });

  it('tells a reason that many share once, and a small limit as it is', async () => {
    const texts = Object.fromEntries(['a.jpg', 'b.jpg', 'c.jpg'].map((name) => [name, 'text']));
    expect(await refusal(makeFolder({ ...texts, 'd.png': '' }))).toMatch(
      /Not usable: a\.jpg is no picture: [^(]* WebP \(2 more alike\) and d\.png is empty \(0 bytes\)\.$/,
    );
    expect(await refusal(makeFolder(numbered(2)), { maxPixels: 100 })).toMatch(/limit of 0\.0001 megapixels/);
  });

  it('leaves out a file that may not be read', async () => {
    const folder = makeFolder(numbered(3));
    chmodSync(folder, 0o755);
    chmodSync(join(folder, 'f2.jpg'), 0o000);
    const { frames, warnings } = await asOrdinaryUser(() => readWords(folder));
    expect(frames.map((frame) => frame.name)).toEqual(['f1.jpg', 'f3.jpg']);
    expect(warnings).toEqual(['f2.jpg is left out: it cannot be read: permission to read it is denied.']);
  });

  it('keeps to a lower limit of pixels', async () => {
    const folder = makeFolder({ ...numbered(2), 'big.jpg': await jpeg({ width: 50, height: 30 }) });
    const { warnings } = await readWords(folder, { maxPixels: 1000 });
    expect(warnings).toHaveLength(1);
    expect(warnings[0]).toMatch(/^big\.jpg is left out: it says it holds 50 x 30 pixels/);
  });

  it('refuses CMYK, floating-point and 32-bit pictures with advice', async () => {
    const source = sharp({ create: { width: 24, height: 16, channels: 3, background: 'grey' } });
    const folder = makeFolder({
      ...numbered(2),
      'inks.jpg': await source.clone().toColourspace('cmyk').jpeg().toBuffer(),
      'float.tif': await source.clone().toColourspace('scrgb').tiff({ compression: 'none' }).toBuffer(),
    });
    expect((await readWords(folder)).warnings).toEqual([
      'float.tif is left out: it holds 32-bit floating-point samples: save it as 16-bit TIFF first.',
      'inks.jpg is left out: it is CMYK, the inks of a print: save it as RGB first.',
    ]);
  });

  it('does not read excluded files', async () => {
    const folder = makeFolder(numbered(4));
    expect(await namesOf(folder, { exclude: [join(folder, 'f2.jpg')] })).toEqual([
      'f1.jpg',
      'f3.jpg',
      'f4.jpg',
    ]);
    expect(await refusal(folder, { exclude: [`${folder}/`] })).toMatch(/where the result goes/);
  });

  it('stops when asked to', async () => {
    await expect(readStack(makeFolder(numbered(3)), { signal: AbortSignal.abort() })).rejects.toThrow(
      InterruptedError,
    );
  });
});

describe('camera raw files that are damaged', () => {
  const dng = buildTiff({ main: [{ tag: 50706, longs: [0x01040000] }] });

  it('are known by name and by content, and named with what to do', async () => {
    const folder = makeFolder({
      ...numbered(2),
      'A.CR2': 'no raw file at all '.repeat(300),
      'B.nef': '',
      'hidden-dng.tif': dng,
      'sensor-data.tif': buildTiff({ sub: [{ tag: 262, shorts: [32803] }] }),
      'renamed.jpg': Buffer.from('FUJIFILMCCD-RAW 0201', 'latin1'),
    });
    const { warnings, frames } = await readWords(folder);
    expect(frames).toHaveLength(2);
    const lines = ['A.CR2', 'B.nef', 'hidden-dng.tif', 'renamed.jpg', 'sensor-data.tif'].map((name) =>
      warnings.find((line) => line.startsWith(`${name} is left out: it `)),
    );
    expect(lines).not.toContain(undefined);
    expect(lines[0]).toMatch(/is no raw file that LibRaw knows: .* 16-bit TIFF\.$/);
    expect(lines[1]).toBe('B.nef is left out: it is empty (0 bytes).');
    expect(await refusal(folder, { strict: true })).toMatch(/^5 files cannot be used: /);
  });

  it('do not count an ordinary TIFF with sub-pictures among them', async () => {
    const pyramid = buildTiff({ sub: [{ tag: 262, shorts: [1] }] });
    const { frames, warnings } = await readWords(makeFolder({ 'a.tif': pyramid, 'b.tif': pyramid }));
    expect(frames).toHaveLength(2);
    expect(warnings).toEqual([]);
  });

  it('alone are an error', async () => {
    const message = await refusal(makeFolder({ 'A.ARW': 'x', 'B.ARW': 'x' }));
    expect(message).toMatch(/holds no photograph .* A\.ARW is cut short or damaged .* \(1 more alike\)/);
  });
});

describe('folders that are no stack', () => {
  it('are refused in plain words', async () => {
    const folder = makeFolder(numbered(2));
    expect(await refusal(join(folder, 'nowhere'))).toMatch(/nowhere" cannot be read: it does not exist\.$/);
    expect(await refusal(join(folder, 'f1.jpg'))).toMatch(/f1\.jpg" is a file: give the folder/);
    expect(await refusal(makeFolder())).toMatch(/holds no files/);
    const nested = makeFolder();
    mkdirSync(join(nested, 'stack1'));
    expect(await refusal(nested)).toMatch(/subfolders, which are not searched/);
    expect(await refusal(makeFolder({ 'a.txt': 'x' }))).toMatch(/holds no photograph/);
    expect(await refusal(makeFolder({ 'a.jpg': '', 'b.jpg': 'x' }))).toMatch(
      /Not usable: a\.jpg is empty .* and b\.jpg/,
    );
  });

  it('say that one photograph is not enough', async () => {
    expect(await refusal(makeFolder(numbered(1)))).toMatch(
      /only one photograph .*\(f1\.jpg\).* at least 2 frames/,
    );
    expect(await refusal(makeFolder({ ...numbered(1), 'f2.jpg': '' }))).toMatch(/f2\.jpg is empty/);
  });

  it('say so when permission is missing', async () => {
    const folder = makeFolder(numbered(2));
    chmodSync(folder, 0o000);
    const message = await asOrdinaryUser(() => refusal(folder));
    chmodSync(folder, 0o700);
    expect(message).toMatch(/cannot be read: permission to read it is denied/);
  });

  it('include the result of an earlier merge', async () => {
    for (const record of [
      '{"schema": "lamella-run/1", "frames": []}',
      '{ "lamella" : "0.1.0", "frames": [',
      '',
    ]) {
      const folder = makeFolder({
        'composite.jpg': photograph,
        'sources.jpg': photograph,
        'run.json': record,
      });
      if (record === '') expect(await namesOf(folder)).toHaveLength(2);
      else expect(await refusal(folder)).toMatch(/result folder of an earlier merge/);
    }
    const maps = ['depth.tif', 'sources.png', 'confidence.png', 'coverage.png'];
    const folder = makeFolder(
      Object.fromEntries([...maps, 'composite.jpg'].map((name) => [name, photograph])),
    );
    expect(await refusal(folder)).toMatch(/result folder of an earlier merge/);
  });
});

describe('order and numbers', () => {
  it('follow capture time with sub-seconds, past a counter that rolls over', async () => {
    const taken = '2024:06:01 10:00:00';
    const folder = makeFolder({
      'IMG_0001.JPG': await jpeg({ taken, subSeconds: '70' }),
      'IMG_0002.JPG': await jpeg({ taken: '2024:06:01 10:00:01', subSeconds: '05' }),
      'IMG_9998.JPG': await jpeg({ taken, subSeconds: '10' }),
      'IMG_9999.JPG': await jpeg({ taken, subSeconds: '40' }),
    });
    const stack = await readStack(folder);
    expect(stack.orderedBy).toBe('exif time');
    expect(stack.frames.map(({ number, name }) => [number, name])).toEqual([
      [1, 'IMG_9998.JPG'],
      [2, 'IMG_9999.JPG'],
      [3, 'IMG_0001.JPG'],
      [4, 'IMG_0002.JPG'],
    ]);
    expect(stack.frames[0].exif).toMatchObject({ hasSubSeconds: true });
  });

  it('are given by the frames of the stack: a stray screenshot has no say, and comes last', async () => {
    const numbers = [9997, 9998, 9999, 1, 2, 3, 4, 5];
    const frames: Record<string, Buffer> = {};
    for (const [i, number] of numbers.entries()) {
      frames[`IMG_${String(number).padStart(4, '0')}.jpg`] = await jpeg({ taken: `2024:01:15 10:00:0${i}` });
    }
    for (const stray of ['Aardvark.png', 'IMG_0000.jpg', 'Screenshot.png']) {
      const folder = makeFolder({ ...frames, [stray]: await jpeg({ width: 40, height: 30 }) });
      const stack = await readWords(folder);
      expect(stack.orderedBy).toBe('exif time');
      expect(stack.frames.map(({ number, name }) => [number, name])).toEqual(
        Object.keys(frames).map((name, i) => [i + 1, name]),
      );
      expect(stack.warnings).toEqual([
        expect.stringContaining(`Frame 9 (${stray}) is left out: it is 40 x 30`),
      ]);
    }
  });

  it('of a frame of another size follow its capture time, or its name where names give the order', async () => {
    const odd = { width: 16, height: 24 };
    const timed: Record<string, Buffer> = {};
    const named: Record<string, Buffer> = {};
    for (let i = 1; i <= 6; i++) {
      timed[`f${i}.jpg`] = await jpeg({ taken: `2024:01:15 10:00:0${i}`, ...(i === 3 && odd) });
      named[`f${i}.jpg`] = await jpeg(i === 3 ? odd : {});
    }
    for (const files of [timed, named]) {
      const { warnings, frames } = await readWords(makeFolder(files));
      expect(frames.map(({ number }) => number)).toEqual([1, 2, 4, 5, 6]);
      expect(warnings[0]).toContain('Frame 3 (f3.jpg)');
    }
  });

  it('stay with their frames when some are not used', async () => {
    const folder = makeFolder(numbered(12));
    const { frames } = await readStack(folder, { frames: [8, 11], skip: [9, 3] });
    expect(frames.map(({ number, name }) => [number, name])).toEqual([
      [8, 'f8.jpg'],
      [10, 'f10.jpg'],
      [11, 'f11.jpg'],
    ]);
  });

  it('must exist', async () => {
    const folder = makeFolder(numbered(5));
    const cases: [ReadStackOptions, RegExp][] = [
      [{ frames: [0, 3] }, /for frames but received 0-3/],
      [{ frames: [4, 2] }, /for frames but received 4-2/],
      [{ frames: [1, Number.NaN] }, /for frames but received 1-NaN/],
      [{ frames: [2, 6] }, /from 1 to 5.* for frames but received 2-6/],
      [{ skip: [1.5] }, /for skip but received 1\.5/],
      [{ skip: [2, 9] }, /from 1 to 5.* for skip but received 9/],
      [{ frames: [3, 3] }, /keep 1 frame of 5/],
      [{ skip: [1, 2, 3, 4, 5] }, /keep 0 frames of 5/],
    ];
    for (const [options, message] of cases) {
      await expect(readStack(folder, options)).rejects.toThrow(UsageError);
      await expect(readStack(folder, options)).rejects.toThrow(message);
    }
  });
});

describe('frames that differ', () => {
  it('in size are left out and named while they are few', async () => {
    const folder = makeFolder({ ...numbered(9), 'f10.jpg': await jpeg({ width: 30, height: 16 }) });
    const { frames, warnings, size } = await readWords(folder);
    expect(frames).toHaveLength(9);
    expect(size).toEqual({ width: 24, height: 16 });
    expect(warnings).toEqual(['Frame 10 (f10.jpg) is left out: it is 30 x 16, the others are 24 x 16.']);
    expect((await readStack(folder)).warnings).toMatchObject([{ kind: 'odd-size', number: 10 }]);
    expect(await refusal(folder, { strict: true })).toMatch(/frame 10 \(f10\.jpg\) is 30 x 16/);
    expect((await readWords(folder, { strict: true, skip: [10] })).warnings).toEqual([]);
  });

  it('in size are an error that names them when they are many', async () => {
    const odd = await jpeg({ width: 30, height: 16 });
    const quarter = await refusal(makeFolder({ ...numbered(3), 'g.jpg': odd }));
    expect(quarter).toMatch(/most \(3\) of 4 are 24 x 16, but frame 4 \(g\.jpg\) is 30 x 16/);
    expect(await refusal(makeFolder({ 'a.jpg': photograph, 'b.jpg': odd }))).toMatch(/24 x 16.*30 x 16/);
  });

  it('in size only because their tag turns them are explained', async () => {
    const folder = makeFolder({ ...numbered(9), 'f10.jpg': await jpeg({ orientation: 6 }) });
    const { warnings, notes } = await readWords(folder);
    expect(warnings[0]).toMatch(/f10\.jpg.* is 16 x 24.* orientation tag/);
    expect(notes).toEqual([]);
  });

  it('in the tag but not in upright size are a stack', async () => {
    const turned = await jpeg({ width: 16, height: 24, orientation: 6 });
    const stack = await readWords(makeFolder({ ...numbered(2), 'f3.jpg': turned }));
    expect(stack.frames).toHaveLength(3);
    expect(stack.frames[2]).toMatchObject({ orientation: 6, size: { width: 24, height: 16 } });
    expect(stack.notes).toEqual([expect.stringMatching(/^Orientation tags differ/)]);
  });

  it('in depth and colour are widened to the richest, with a note', async () => {
    const raw = { width: 24, height: 16, channels: 1 as const };
    const grey8 = await sharp(new Uint8Array(384).fill(100), { raw }).toColourspace('b-w').png().toBuffer();
    const grey16 = await sharp(new Uint16Array(384).fill(1000), { raw })
      .toColourspace('grey16')
      .png()
      .toBuffer();
    const mixed = await readWords(makeFolder({ ...numbered(1), 'g8.png': grey8, 'g16.png': grey16 }));
    expect(mixed).toMatchObject({ bits: 16, channels: 3 });
    expect(mixed.notes).toEqual([
      'Bit depth is mixed: 2 frames (f1.jpg and g8.png) with 8 bits are widened to 16.',
      'Colour is mixed: 2 frames (g8.png and g16.png) in grey are read as RGB.',
    ]);
    for (const frame of mixed.frames) {
      const decoded = await decodeFrame(frame);
      expect(decoded).toMatchObject({ bits: 16, channels: 3 });
      if (frame.name === 'g8.png') expect(new Set(decoded.pixels)).toEqual(new Set([25700]));
      if (frame.name === 'g16.png') expect(new Set(decoded.pixels)).toEqual(new Set([1000]));
    }
    const allGrey = await readStack(makeFolder({ 'a.png': grey8, 'b.png': grey8 }));
    expect(allGrey).toMatchObject({ bits: 8, channels: 1, notes: [] });
  });

  it('in transparency are read without it, with a note', async () => {
    const clear = await sharp({ create: { width: 24, height: 16, channels: 4, background: '#10203040' } })
      .png()
      .toBuffer();
    const { notes, frames, channels } = await readWords(makeFolder({ ...numbered(2), 'g.png': clear }));
    expect(channels).toBe(3);
    expect(notes).toEqual(['Transparency is ignored in 1 frame (g.png).']);
    const { pixels } = await decodeFrame(frames[2]);
    expect([...pixels.subarray(0, 3)]).toEqual([0x10, 0x20, 0x30]);
  });

  it('in ending only may be the same exposures twice: a warning', async () => {
    const tiff = await sharp(photograph).tiff({ compression: 'lzw' }).toBuffer();
    const { warnings } = await readWords(makeFolder({ ...numbered(2), 'F1.tif': tiff, 'F2.tif': tiff }));
    expect(warnings).toEqual([
      expect.stringMatching(/^The same name occurs with two endings \(f1\.jpg and F1\.tif/i),
    ]);
  });
});
