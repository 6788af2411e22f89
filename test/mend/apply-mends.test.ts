import { createHash } from 'node:crypto';
import {
  appendFileSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { describe, expect, test } from 'vitest';
import { applyMends } from '../../src/mend/apply-mends.js';
import { appliedMends, mendState } from '../../src/mend/mended-record.js';
import { type Mend, readMends, writeMends } from '../../src/mend/mends-file.js';
import { undoMends } from '../../src/mend/undo-mends.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { frameShows, makeResult, readSamples, size, subjectAt } from './made-result.js';

const { width, height } = size;

function mend(over: Partial<Mend> = {}): Mend {
  const region = { kind: 'rectangle', x: 60, y: 50, width: 40, height: 30 } as const;
  return { id: 1, frame: 3, region, featherPx: 20, note: '', kept: true, ...over };
}

/** Distance of a pixel from the rectangle of `mend`, Euclidean; 0 inside. */
function away(i: number): number {
  const x = i % width;
  const y = Math.floor(i / width);
  return Math.hypot(Math.max(0, 60 - x, x - 99), Math.max(0, 50 - y, y - 79));
}

/** Hash of every file below a folder by path, but those named in `but`. */
function digest(folder: string, but: readonly string[] = []): Record<string, string> {
  const found: Record<string, string> = {};
  for (const name of readdirSync(folder, { recursive: true, encoding: 'utf8' }).sort()) {
    const path = join(folder, name);
    if (statSync(path).isDirectory() || but.includes(name)) continue;
    found[name] = createHash('sha256').update(readFileSync(path)).digest('hex');
  }
  return found;
}

describe.each([
  { format: 'tif', bits: 8, channels: 3 },
  { format: 'tif', bits: 16, channels: 1 },
  { format: 'png', bits: 8, channels: 1 },
  { format: 'png', bits: 16, channels: 3 },
] as const)('a mend of a $format of $bits bits and $channels channels', ({ format, bits, channels }) => {
  test('takes the region from the frame and leaves every pixel beyond the feather', async () => {
    const { folder } = await makeResult({ format, bits, channels });
    const path = join(folder, `composite.${format}`);
    const before = await readSamples(path, bits, channels);
    await applyMends(folder, [mend()]);
    const after = await readSamples(path, bits, channels);
    const unit = bits === 16 ? 257 : 1;
    let changed = 0;
    let strayed = 0;
    let worst = 0;
    after.forEach((value, i) => {
      const pixel = Math.floor(i / channels);
      const distance = away(pixel);
      if (value !== before[i]) {
        if (distance > 20) strayed++;
        else changed++;
      }
      if (distance > 0) return;
      const wanted = subjectAt(3, pixel % width, Math.floor(pixel / width), i % channels);
      worst = Math.max(worst, Math.abs(value / unit - wanted));
    });
    expect(strayed).toBe(0);
    // Half a level of rounding in the frame and in the composite, at 8 bits each.
    expect(worst).toBeLessThan(bits === 16 ? 0.2 : 1.2);
    expect(changed).toBeGreaterThan(40 * 30);
  });

  test('tells the maps and run.json, and leaves them beyond the feather', async () => {
    const { folder } = await makeResult({ format, bits, channels });
    const maps = [
      ['sources.png', 16],
      ['depth.tif', 32],
      ['depth.png', 16],
      ['confidence.png', 8],
      ['coverage.png', 8],
    ] as const;
    const before = await Promise.all(maps.map(([name, deep]) => readSamples(join(folder, name), deep, 1)));
    await applyMends(folder, [mend()]);
    const after = await Promise.all(maps.map(([name, deep]) => readSamples(join(folder, name), deep, 1)));
    const record = await readRunRecord(folder);
    const strays: number[] = [];
    const untold: number[] = [];
    for (let i = 0; i < width * height; i++) {
      if (away(i) > 20 && !after.every((map, m) => Object.is(map[i], before[m][i]))) strays.push(i);
      if (away(i) > 0) continue;
      // Depths found nearer to plane 1 than to plane 0 stay: they are finer than the plane.
      const depth = before[1][i] >= 0.5 ? before[1][i] : 1;
      if (after[0][i] !== 3 || after[1][i] !== depth || after[3][i] !== 255) untold.push(i);
    }
    expect(strays).toEqual([]);
    expect(untold).toEqual([]);
    let ofThree = 0;
    for (const source of after[0]) if (source === 3) ofThree++;
    expect(record.frames[2].sharePercent).toBeCloseTo((100 * ofThree) / (width * height), 6);
    expect(record.frames.reduce((sum, { sharePercent }) => sum + sharePercent, 0)).toBeCloseTo(100, 6);
    expect(appliedMends(record)).toEqual([mend()]);
    expect(readFileSync(join(folder, 'report.html'), 'utf8')).toContain('mended by hand from frame 3');
  });

  test('is undone byte for byte, and done again to the same bytes', async () => {
    const { folder } = await makeResult({ format, bits, channels });
    const before = digest(folder);
    await applyMends(folder, [mend()]);
    const mended = digest(folder, ['run.json', 'report.html']);
    await undoMends(folder);
    expect(digest(folder, ['mends.json'])).toEqual(before);
    expect(await readMends(folder, size)).toEqual([mend()]);
    await applyMends(folder, await readMends(folder, size));
    expect(digest(folder, ['run.json', 'report.html'])).toEqual(mended);
  });
});

test('several mends in steps give the same picture as all at once, in their order', async () => {
  const second = mend({
    id: 2,
    frame: 1,
    region: {
      kind: 'polygon',
      points: [
        [80, 40],
        [140, 60],
        [90, 110],
      ],
    },
  });
  const [steps, once] = [await makeResult(), await makeResult()];
  await applyMends(steps.folder, [mend()]);
  await applyMends(steps.folder, [mend(), second]);
  await applyMends(once.folder, [mend(), second]);
  const names = ['composite.tif', 'depth.tif', 'sources.png', 'confidence.png'];
  for (const name of names) {
    expect(readFileSync(join(steps.folder, name)).equals(readFileSync(join(once.folder, name)))).toBe(true);
  }
  await applyMends(once.folder, [second, mend()]);
  expect(readFileSync(join(steps.folder, names[0])).equals(readFileSync(join(once.folder, names[0])))).toBe(
    false,
  );
});

test('a dropped mend stays on the list and out of the picture', async () => {
  const { folder } = await makeResult();
  const before = digest(folder);
  await applyMends(folder, [mend()]);
  await applyMends(folder, [mend({ kept: false })]);
  expect(digest(folder, ['mends.json'])).toEqual(before);
  expect(await readMends(folder, size)).toEqual([mend({ kept: false })]);
  expect(mendState(mend({ kept: false }), [])).toBe('dropped');
  expect(mendState(mend(), [])).toBe('waiting');
  expect(mendState(mend(), [mend()])).toBe('applied');
  expect(mendState(mend({ featherPx: 5 }), [mend()])).toBe('waiting');
});

test('profile, EXIF and files of the user are kept', async () => {
  const picture = sharp({ create: { width: 4, height: 4, channels: 3, background: 'red' } });
  const source = await picture
    .withIccProfile('p3')
    .withExif({ IFD0: { Artist: 'nobody', Copyright: 'none' } })
    .jpeg()
    .toBuffer();
  const { icc, exif } = await sharp(source).metadata();
  for (const format of ['tif', 'png', 'jpg'] as const) {
    const { folder } = await makeResult({ format, icc: icc!, exif: exif! });
    mkdirSync(join(folder, 'notes'));
    writeFileSync(join(folder, 'notes', 'mine.txt'), 'mine');
    const before = await sharp(join(folder, `composite.${format}`)).metadata();
    await applyMends(folder, [mend()]);
    const after = await sharp(join(folder, `composite.${format}`)).metadata();
    expect(after.icc).toEqual(before.icc);
    expect(after.icc).toEqual(icc);
    if (format !== 'tif') expect(after.exif?.includes('nobody')).toBe(true);
    else expect(readFileSync(join(folder, 'composite.tif')).includes('nobody')).toBe(true);
    expect(readFileSync(join(folder, 'notes', 'mine.txt'), 'utf8')).toBe('mine');
  }
});

test('a JPEG moves by little beyond the feather, and says why', async () => {
  const { folder } = await makeResult({ format: 'jpg' });
  const before = await readSamples(join(folder, 'composite.jpg'), 8, 3);
  const { notes } = await applyMends(folder, [mend()]);
  const after = await readSamples(join(folder, 'composite.jpg'), 8, 3);
  expect(notes.join()).toMatch(/JPEG.*compressed once more.*tif or png/);
  let sum = 0;
  let count = 0;
  after.forEach((value, i) => {
    // Blocks of 8 pixels that the feather touches hold something else.
    if (away(Math.floor(i / 3)) <= 20 + 12) return;
    sum += Math.abs(value - before[i]);
    count++;
  });
  // Noise over the whole range, clipped at both ends, is the worst that a JPEG can be given.
  expect(sum / count).toBeLessThan(2);
  await undoMends(folder);
  expect(await readSamples(join(folder, 'composite.jpg'), 8, 3)).toEqual(before);
});

test('a mend at the edge of the picture is blended as far as its frame reaches', async () => {
  const { folder } = await makeResult({ bits: 16 });
  const region = { kind: 'rectangle', x: 4, y: 6, width: 30, height: 30 } as const;
  await applyMends(folder, [mend({ frame: 1, region })]);
  const after = await readSamples(join(folder, 'composite.tif'), 16, 3);
  for (const [x, y] of [
    [33, 35],
    [20, 25],
  ]) {
    expect(after[(y * width + x) * 3] / 257).toBeCloseTo(subjectAt(1, x, y, 0), 0);
  }
  const sources = await readSamples(join(folder, 'sources.png'), 16, 1);
  for (let y = 0; y < 46; y++) {
    for (let x = 0; x < 44; x++) {
      if (!frameShows(1, x, y, 0)) expect(sources[y * width + x]).not.toBe(1 + 2);
    }
  }
});

describe('a mend is refused, and nothing changes,', () => {
  test.each([
    ['of a frame that there is not', mend({ frame: 9 }), /there is no frame 9 .* frames 1 to 3/],
    [
      'of a frame that was left out',
      mend({ frame: 4 }),
      /frame 4 .* left out of the merge: blurred by motion/,
    ],
    [
      'that leaves the picture',
      mend({ region: { kind: 'rectangle', x: 200, y: 10, width: 30, height: 5 } }),
      /the region 200,10,30,5 leaves the picture of 220 x 170 pixels/,
    ],
    [
      'whose outline leaves the picture',
      mend({
        region: {
          kind: 'polygon',
          points: [
            [10, 10],
            [300, 20],
            [20, 50],
          ],
        },
      }),
      /the corner 300,20 of the outline leaves the picture/,
    ],
    [
      'whose outline holds no pixel',
      mend({
        region: {
          kind: 'polygon',
          points: [
            [10.2, 10.2],
            [10.4, 10.2],
            [10.3, 10.4],
          ],
        },
      }),
      /holds no pixel/,
    ],
    [
      'where its frame does not reach',
      mend({ region: { kind: 'rectangle', x: 0, y: 0, width: 9, height: 9 } }),
      /frame 3 \(f3.png\) does not cover all of the region/,
    ],
  ])('%s', async (_, bad, message) => {
    const { folder, parent } = await makeResult();
    const before = digest(folder);
    await expect(applyMends(folder, [mend({ id: 7 }), bad])).rejects.toThrow(message);
    expect(digest(folder)).toEqual(before);
    expect(readdirSync(parent).sort()).toEqual(['frames', 'merged']);
  });

  test('when its frame has changed or is gone, until it is found elsewhere', async () => {
    const { folder, frames, parent } = await makeResult();
    const before = digest(folder);
    renameSync(frames, join(parent, 'moved'));
    await expect(applyMends(folder, [mend()])).rejects.toThrow(/f3.png.*is not in.* framesFrom FOLDER/);
    await applyMends(folder, [mend()], { framesFrom: join(parent, 'moved') });
    await undoMends(folder);
    appendFileSync(join(parent, 'moved', 'f3.png'), 'x');
    await expect(applyMends(folder, [mend()], { framesFrom: join(parent, 'moved') })).rejects.toThrow(
      /has changed since the merge: its SHA-256 differs/,
    );
    expect(digest(folder, ['mends.json'])).toEqual(before);
  });

  test('when it was stopped', async () => {
    const { folder, parent } = await makeResult();
    const before = digest(folder);
    await expect(applyMends(folder, [mend()], { signal: AbortSignal.abort() })).rejects.toThrow(
      /Interrupted/,
    );
    expect(digest(folder)).toEqual(before);
    expect(readdirSync(parent).sort()).toEqual(['frames', 'merged']);
  });
});

test('a result that another program has stored in its own way is mended all the same', async () => {
  const [plain, other] = [await makeResult({ bits: 16 }), await makeResult({ bits: 16 })];
  const read = sharp(join(other.folder, 'composite.tif')).toColourspace('rgb16');
  const packed = await read.tiff({ compression: 'lzw' }).toBuffer();
  writeFileSync(join(other.folder, 'composite.tif'), packed);
  await applyMends(plain.folder, [mend()]);
  await applyMends(other.folder, [mend()]);
  for (const [name, bits, channels] of [
    ['composite.tif', 16, 3],
    ['depth.tif', 32, 1],
    ['sources.png', 16, 1],
  ] as const) {
    const samples = await readSamples(join(plain.folder, name), bits, channels);
    expect(await readSamples(join(other.folder, name), bits, channels)).toEqual(samples);
  }
  expect(readdirSync(other.folder).sort()).toEqual(readdirSync(plain.folder).sort());
});

test.each([
  ['composite.tif', /composite\.tif is not as the merge made it: the end of the file is gone/],
  ['depth.tif', /depth\.tif is not as the merge made it: the end of the file is gone/],
  ['sources.png', /sources\.png is not as the merge made it: the end of the file is gone/],
  ['coverage.png', /coverage\.png is not as the merge made it: the end of the file is gone/],
])('a result whose %s was cut short is refused and stays as it is', async (name, message) => {
  const { folder, parent } = await makeResult();
  const bytes = readFileSync(join(folder, name));
  writeFileSync(join(folder, name), bytes.subarray(0, bytes.length / 2));
  const before = digest(folder);
  await expect(applyMends(folder, [mend()])).rejects.toThrow(message);
  expect(digest(folder)).toEqual(before);
  expect(readdirSync(parent).sort()).toEqual(['frames', 'merged']);
});

describe('mends.json', () => {
  test.each([
    ['no JSON', '{', /is no JSON/],
    ['another file', '{"schema":"other"}', /Expected "lamella-mends" for schema/],
    [
      'of a newer program',
      '{"schema":"lamella-mends","version":2}',
      /reads versions up to 1. Use a newer Lamella/,
    ],
    [
      'with a region of another kind',
      '{"schema":"lamella-mends","version":1,"size":{"width":1,"height":1},"mends":[{"id":1,"frame":1,"region":{"kind":"circle"},"featherPx":1,"note":"","kept":true}]}',
      /for mends\[0\]\.region\.kind but received "circle"/,
    ],
  ])('that is %s is refused', async (_, text, message) => {
    const { folder } = await makeResult();
    writeFileSync(join(folder, 'mends.json'), text);
    await expect(readMends(folder, size)).rejects.toThrow(message);
  });

  test('of a picture of another size is refused', async () => {
    const { folder } = await makeResult();
    await writeMends(folder, { width: 9, height: 9 }, []);
    await expect(readMends(folder, size)).rejects.toThrow(
      /made for a picture of 9 x 9 pixels, but this one has 220/,
    );
  });

  test('with one id twice is refused', async () => {
    const { folder } = await makeResult();
    await expect(writeMends(folder, size, [mend(), mend()])).rejects.toThrow(/two mends have the id 1/);
  });

  test('is not needed', async () => {
    const { folder } = await makeResult();
    expect(existsSync(join(folder, 'mends.json'))).toBe(false);
    expect(await readMends(folder, size)).toEqual([]);
    await expect(undoMends(folder)).rejects.toThrow(/is not mended: there is nothing to undo/);
  });
});
