import { existsSync, mkdirSync, readdirSync, readFileSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { unzipSync } from 'fflate';
import sharp from 'sharp';
import * as UTIF from 'utif2';
import { afterAll, beforeAll, describe, expect, it, test } from 'vitest';
import { exportResult } from '../../src/export/export-result.js';
import { splitRuns } from '../../src/export/part-composites.js';
import { editMends } from '../../src/mend/apply-mends.js';
import { merge } from '../../src/mend/merge.js';
import { readResult } from '../../src/result/read-result.js';
import { runLamella } from '../cli/fake-system.js';
import { makeSurface } from '../measure/made-surface.js';
import {
  frameShows,
  type MadeResult,
  makeLastingResult,
  makeResult,
  readSamples,
  size,
  squareMend,
  subjectAt,
} from '../mend/made-result.js';
import { placeStack, renderPlane } from '../merge/small-stack.js';

const { width, height } = size;
const count = width * height;

let made: MadeResult & { remove: () => void };
let out: string;
let icc: Buffer;

beforeAll(async () => {
  const tagged = sharp({ create: { width: 2, height: 2, channels: 3, background: 'red' } });
  icc = (await sharp(await tagged.withIccProfile('p3').png().toBuffer()).metadata()).icc!;
  made = await makeLastingResult({ icc });
  out = join(made.parent, 'export');
  await exportResult(made.folder, {
    out,
    aligned: true,
    layers: true,
    masks: true,
    depth: true,
    minSharePercent: 0,
  });
});
afterAll(() => made.remove());

/** A TIFF by a reader that is not ours. */
function readTiff(path: string) {
  const bytes = readFileSync(path);
  const [ifd] = UTIF.decode(bytes);
  UTIF.decodeImage(bytes, ifd);
  return { ifd, samples: ifd.data, width: ifd.width, height: ifd.height };
}

describe('aligned frames', () => {
  it('show the subject where the composite has it, in its light, and carry the profile byte for byte', async () => {
    for (const number of [1, 2, 3]) {
      const path = join(out, 'aligned', `frame-000${number}.tif`);
      const { samples, ifd } = readTiff(path);
      const channels = (ifd.t277 as number[])[0];
      expect([ifd.width, ifd.height]).toEqual([width, height]);
      let [shown, worst] = [0, 0];
      for (let y = 0; y < height; y += 3) {
        for (let x = 0; x < width; x += 3) {
          if (!frameShows(number, x, y, 4)) continue;
          shown++;
          for (let c = 0; c < 3; c++) {
            const value = samples[(y * width + x) * channels + c];
            // Rounded in the frame, multiplied by the gain, resampled and rounded again.
            worst = Math.max(worst, Math.abs(value - subjectAt(number, x, y, c)));
          }
        }
      }
      expect(worst).toBeLessThan(1.6);
      expect(shown).toBeGreaterThan(3000);
      expect((await sharp(path).metadata()).icc).toEqual(icc);
    }
  });

  it('have alpha where they do not reach, and none when they reach all', () => {
    const anchor = readTiff(join(out, 'aligned', 'frame-0002.tif'));
    expect(anchor.ifd.t277).toEqual([3]);
    const { ifd, samples } = readTiff(join(out, 'aligned', 'frame-0003.tif'));
    expect([ifd.t277, ifd.t338]).toEqual([[4], [2]]);
    for (let y = 0; y < height; y += 2) {
      for (let x = 0; x < width; x++) {
        const alpha = samples[(y * width + x) * 4 + 3];
        if (frameShows(3, x, y, 2.1) && alpha !== 255) expect.fail(`not shown: ${x}, ${y}`);
        if (!frameShows(3, x, y, 1.9) && alpha !== 0) expect.fail(`shown: ${x}, ${y}`);
      }
    }
  });

  it('keep 16 bits, and grey stays grey', async () => {
    const grey = await makeResult({ bits: 16, channels: 1 });
    const folder = join(grey.parent, 'export');
    await exportResult(grey.folder, { out: folder, aligned: true, layers: true });
    const path = join(folder, 'aligned', 'frame-0002.tif');
    expect(await sharp(path).metadata()).toMatchObject({ depth: 'ushort', channels: 1 });
    const samples = await readSamples(path, 16, 1);
    expect(Math.abs(samples[60 * width + 70] - 257 * subjectAt(2, 70, 60, 0))).toBeLessThan(2);
    const files = unzipSync(readFileSync(join(folder, 'layers.ora')));
    expect(await sharp(files['data/frame-0002.png']).metadata()).toMatchObject({
      depth: 'ushort',
      channels: 4,
    });
  });
});

describe('layers', () => {
  const open = () => unzipSync(readFileSync(join(out, 'layers.ora')));
  const pixelsOf = async (png: Uint8Array) =>
    new Uint8Array(await sharp(png, { ignoreIcc: true }).raw().toBuffer());

  // openraster.org, baseline: file layout and layers stack.
  it('are an OpenRaster file: mimetype first and stored, a stack, its pictures, the merged one, a thumbnail', async () => {
    const bytes = readFileSync(join(out, 'layers.ora'));
    expect(bytes.readUInt32LE(0)).toBe(0x04034b50);
    const [flags, method, size, nameLength, extraLength] = [6, 8, 18, 26, 28].map((at) =>
      bytes.readUInt16LE(at),
    );
    expect([flags & 8, method, size, nameLength, extraLength]).toEqual([0, 0, 16, 8, 0]);
    expect(bytes.toString('latin1', 30, 54)).toBe('mimetypeimage/openraster');
    const files = open();
    const xml = Buffer.from(files['stack.xml']).toString('utf8');
    expect(xml).toMatch(
      /^<\?xml version="1.0" encoding="UTF-8"\?>\n<image version="0\.0\.\d" w="220" h="170">/,
    );
    const sources = [...xml.matchAll(/<layer [^>]*src="([^"]+)"/g)].map(([, src]) => src);
    expect(sources).toEqual([
      'data/frame-0001.png',
      'data/frame-0002.png',
      'data/frame-0003.png',
      'data/composite.png',
    ]);
    expect(Object.keys(files).sort()).toEqual(
      ['mimetype', 'stack.xml', 'mergedimage.png', 'Thumbnails/thumbnail.png', ...sources].sort(),
    );
    for (const name of [...sources, 'mergedimage.png']) {
      const { format, width: w, height: h, channels, isProgressive } = await sharp(files[name]).metadata();
      expect([format, w, h, channels, isProgressive]).toEqual(['png', width, height, 4, false]);
    }
    const thumbnail = await sharp(files['Thumbnails/thumbnail.png']).metadata();
    // At most 256 pixels a side, never larger than the picture.
    expect([thumbnail.width, thumbnail.height, thumbnail.depth]).toEqual([width, height, 'uchar']);
  });

  it('open as the composite: it alone is visible, and the merged picture is the same', async () => {
    const files = open();
    const xml = Buffer.from(files['stack.xml']).toString('utf8');
    const visible = [...xml.matchAll(/src="([^"]+)"[^>]*visibility="visible"/g)].map(([, src]) => src);
    expect(visible).toEqual(['data/composite.png']);
    const composite = await readSamples(join(made.folder, 'composite.tif'), 8, 3);
    for (const name of ['data/composite.png', 'mergedimage.png']) {
      const pixels = await pixelsOf(files[name]);
      for (let i = 0; i < count; i++) {
        if (pixels[4 * i + 3] !== 255) expect.fail(`${name} ${i}`);
        for (let c = 0; c < 3; c++)
          if (pixels[4 * i + c] !== composite[3 * i + c]) expect.fail(`${name} ${i}`);
      }
    }
  });

  it('hold each frame whole, with what it supplied as alpha, so that painting alpha brings it in anywhere', async () => {
    const files = open();
    const sources = await (await readResult(made.folder)).readSources();
    for (const number of [1, 2, 3]) {
      const layer = await pixelsOf(files[`data/frame-000${number}.png`]);
      const { samples, ifd } = readTiff(join(out, 'aligned', `frame-000${number}.tif`));
      const channels = (ifd.t277 as number[])[0];
      for (let i = 0; i < count; i++) {
        if (layer[4 * i + 3] !== (sources[i] === number ? 255 : 0)) expect.fail(`alpha ${number} ${i}`);
        for (let c = 0; c < 3; c++) {
          if (layer[4 * i + c] !== samples[channels * i + c]) expect.fail(`colour ${number} ${i}`);
        }
      }
    }
  });
});

test('masks share out the picture: every pixel is white in the mask of the frame that supplied it, and in no other', async () => {
  const sources = await (await readResult(made.folder)).readSources();
  const sum = new Uint16Array(count);
  for (const number of [1, 2, 3]) {
    const mask = await readSamples(join(out, 'masks', `frame-000${number}.png`), 8, 1);
    for (let i = 0; i < count; i++) {
      sum[i] += mask[i];
      if (sources[i] === number && mask[i] !== 255) expect.fail(`mask ${number} ${i}`);
    }
  }
  expect(sum.every((value) => value === 255)).toBe(true);
});

test('depth has its mapping in the file and beside it, and 0 where there is none', async () => {
  const record = JSON.parse(readFileSync(join(out, 'export.json'), 'utf8'));
  const path = join(out, 'depth.png');
  const { comments } = await sharp(path).metadata();
  const mapping = JSON.parse(comments!.find(({ keyword }) => keyword === 'Depth mapping')!.text);
  expect(record.depth).toEqual({ file: 'depth.png', ...mapping });
  expect(mapping).toMatchObject({ unit: 'step', noData: 0, positive: 'away from the camera' });
  const depth = await (await readResult(made.folder)).readDepth();
  const values = await readSamples(path, 16, 1);
  for (let i = 0; i < count; i++) {
    const error = Number.isNaN(depth[i])
      ? values[i]
      : Math.abs(mapping.offset + mapping.scale * values[i] - depth[i]);
    if (!(error < mapping.scale)) expect.fail(`depth at ${i}: ${values[i]} for ${depth[i]}`);
  }
});

describe('composites of neighbouring frames', () => {
  it.each([
    [
      24,
      10,
      3,
      [
        [0, 10],
        [7, 17],
        [14, 24],
      ],
    ],
    [
      25,
      10,
      3,
      [
        [0, 10],
        [7, 17],
        [14, 24],
        [15, 25],
      ],
    ],
    [10, 10, 3, [[0, 10]]],
    [4, 10, 9, [[0, 4]]],
    [
      5,
      2,
      0,
      [
        [0, 2],
        [2, 4],
        [3, 5],
      ],
    ],
  ])(
    'of %i frames by %i with %i in common hold every frame, and none is short',
    (frames, length, overlap, runs) => {
      expect(splitRuns(frames, length, overlap)).toEqual(runs);
    },
  );

  it('of all frames is the composite itself, byte for byte, and of a part is its own', async () => {
    const {
      frames,
      out: folder,
      parent,
    } = placeStack((await renderPlane({ width: 144, height: 108, frames: 5 })).files);
    await merge(frames, { out: folder, threads: 2 });
    const composite = await readSamples(join(folder, 'composite.tif'), 8, 3);
    const whole = join(parent, 'whole');
    await exportResult(folder, { out: whole, runs: [5, 0] });
    expect(await readSamples(join(whole, 'runs', 'frames-0001-0005.tif'), 8, 3)).toEqual(composite);
    const parts = join(parent, 'parts');
    const { record } = await exportResult(folder, { out: parts, runs: [3, 1] });
    expect(record.runs).toEqual([
      { file: 'runs/frames-0001-0003.tif', frames: [1, 2, 3] },
      { file: 'runs/frames-0003-0005.tif', frames: [3, 4, 5] },
    ]);
    expect(await readSamples(join(parts, 'runs', 'frames-0001-0003.tif'), 8, 3)).not.toEqual(composite);
  });
});

test('depth that is known nowhere is said to be so', async () => {
  const folder = await makeSurface({ depthAt: () => Number.NaN });
  const { record } = await exportResult(folder, { out: `${folder}-export`, depth: true });
  expect(record.notes).toEqual(['No pixel has a depth: depth.png holds nothing but 0.']);
});

test('a mended result is exported as it is mended', async () => {
  const { folder, parent } = await makeResult();
  await editMends(folder, async () => [squareMend]);
  const target = join(parent, 'export');
  await exportResult(folder, { out: target, masks: true, depth: true, minSharePercent: 0 });
  const mask = await readSamples(join(target, 'masks', 'frame-0003.png'), 8, 1);
  expect(mask[80 * width + 100]).toBe(255);
  expect(mask[20 * width + 20]).toBe(0);
  const { offset, scale } = JSON.parse(readFileSync(join(target, 'export.json'), 'utf8')).depth;
  const depth = await (await readResult(folder)).readDepth();
  const values = await readSamples(join(target, 'depth.png'), 16, 1);
  const at = 80 * width + 100;
  expect(offset + scale * values[at]).toBeCloseTo(depth[at], 3);
});

describe('lamella export', () => {
  const lamella = (...args: string[]) => runLamella('export', ...args);

  it('leaves out frames that supply little, and says how many', async () => {
    const { folder, parent } = await makeResult();
    const run = JSON.parse(readFileSync(join(folder, 'run.json'), 'utf8'));
    run.frames[2].sharePercent = 0.05;
    writeFileSync(join(folder, 'run.json'), JSON.stringify(run));
    const { exitCode, stderr } = await lamella(folder, '--masks');
    expect([exitCode, stderr]).toEqual([0, expect.stringContaining('1 frame that supplies less than 0.1 %')]);
    expect(readdirSync(join(parent, 'merged-export', 'masks'))).toEqual(['frame-0001.png', 'frame-0002.png']);
    const all = await lamella(folder, '--masks', '--min-share', '0', '--overwrite', '--json');
    expect(JSON.parse(all.stdout).frames).toHaveLength(3);
  });

  it('refuses what is not asked for right, and places where nothing may be written', async () => {
    const { folder, frames, parent } = await makeResult();
    const foreign = join(parent, 'foreign');
    mkdirSync(foreign);
    writeFileSync(join(foreign, 'letter.txt'), 'keep me');
    const before = readdirSync(parent).sort();
    for (const [args, code, text] of [
      [[], 2, 'Expected one at least of --aligned, --layers, --masks, --runs, --depth'],
      [['--runs', '3,3'], 2, 'for --runs but received'],
      [['--min-share', '101', '--masks'], 2, 'Expected a number from 0 to 100 percent for --min-share'],
      [['--masks', '--out', join(frames, 'x')], 4, 'lies in the folder of photographs'],
      [['--masks', '--out', join(folder, 'x')], 4, 'lies in the result folder'],
      [['--masks', '--out', foreign, '--overwrite'], 4, 'is no export of Lamella'],
      [['--masks', '--out', join(foreign, 'letter.txt')], 4, 'is no folder'],
      [['--masks', '--out', join(parent, 'none', 'x')], 4, 'does not exist'],
      [['--aligned', '--frames-from', foreign], 3, 'is not in'],
    ] as const) {
      const refused = await lamella(folder, ...args);
      expect([args, refused.exitCode]).toEqual([args, code]);
      expect(refused.stderr).toContain(text);
      expect(refused.stderr).not.toContain('    at ');
    }
    expect(readdirSync(parent).sort()).toEqual(before);
    expect(readFileSync(join(foreign, 'letter.txt'), 'utf8')).toBe('keep me');
    expect((await lamella(folder, '--masks')).exitCode).toBe(0);
    const twice = await lamella(folder, '--masks');
    expect([twice.exitCode, twice.stderr]).toEqual([4, expect.stringContaining('already holds an export')]);
  });

  it('leaves nothing behind when a photograph changed, the work is stopped or the disk is full', async () => {
    const { folder, frames, parent } = await makeResult();
    const target = join(parent, 'export');
    const stop = new AbortController();
    const stopped = exportResult(
      folder,
      { out: target, layers: true },
      { signal: stop.signal, onProgress: () => stop.abort() },
    );
    await expect(stopped).rejects.toThrow('Interrupted');
    expect(existsSync(target)).toBe(false);
    writeFileSync(join(frames, 'f2.png'), 'changed');
    const { exitCode, stderr } = await lamella(folder, '--layers', '--out', target);
    expect([exitCode, stderr]).toEqual([3, expect.stringContaining('has changed since the merge')]);
    expect(readdirSync(parent).sort()).toEqual(['frames', 'merged']);
  });
});

test.runIf(existsSync('/dev/full'))('a full disk under the layers is told as such', async () => {
  const { openOpenRaster } = await import('../../src/export/open-raster.js');
  const { parent } = await makeResult();
  const path = join(parent, 'layers.ora');
  symlinkSync('/dev/full', path);
  const writer = openOpenRaster(path, size);
  const row = () => new Uint8Array(width * 4);
  const write = async () => {
    await writer.addPicture('data/a.png', { width, height, channels: 4, bits: 8, row });
    await writer.finish([]);
  };
  await expect(write()).rejects.toThrow('the disk is full');
});
