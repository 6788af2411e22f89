import { createHash } from 'node:crypto';
import { existsSync, readdirSync, readFileSync, statSync } from 'node:fs';
import { join } from 'node:path';
import sharp, { type Sharp } from 'sharp';
import { beforeAll, describe, expect, it } from 'vitest';
import { merge } from '../../src/mend/merge.js';
import type { MergeEvent } from '../../src/merge/merge-event.js';
import { readResult } from '../../src/result/read-result.js';
import { makeFolder } from '../stack/pictures.js';
import {
  convertFiles,
  type Files,
  frameSize,
  innerPixels,
  median,
  placeStack,
  type RenderedStack,
  readFiles,
  readRgb16,
  renderPlane,
} from './small-stack.js';

const { width, height } = frameSize;
const inner = innerPixels(12);
let stack: RenderedStack;
let place: ReturnType<typeof placeStack>;
const events: MergeEvent[] = [];
let before: string[];

/** Name, time of change and content of every file. */
function fingerprints(folder: string): string[] {
  return readdirSync(folder, { recursive: true, encoding: 'utf8' }).map((name) => {
    const { mtimeMs, size } = statSync(join(folder, name));
    return `${name} ${mtimeMs} ${size} ${sha256(readFileSync(join(folder, name)))}`;
  });
}

function sha256(bytes: Buffer): string {
  return createHash('sha256').update(bytes).digest('hex');
}

/** Mean square of the green differences two pixels apart: what sharpness adds, and noise hardly. */
function detail(rgb: Uint16Array): number {
  const squares = inner.map(
    (i) =>
      (rgb[(i + 2) * 3 + 1] - rgb[i * 3 + 1]) ** 2 + (rgb[(i + 2 * width) * 3 + 1] - rgb[i * 3 + 1]) ** 2,
  );
  return squares.reduce((sum, value) => sum + value, 0) / squares.length;
}

/** RMS difference from the scene with everything sharp. */
function misfit(rgb: Uint16Array): number {
  const squares = inner.map((i) => (rgb[i * 3 + 1] - stack.sharp[i * 3 + 1]) ** 2);
  return Math.sqrt(squares.reduce((sum, value) => sum + value, 0) / squares.length);
}

beforeAll(async () => {
  stack = await renderPlane({ format: 'png', bits: 16 });
  place = placeStack(stack.files);
  before = fingerprints(place.frames);
  await merge(
    place.frames,
    { out: place.out, crop: 'anchor', threads: 2 },
    { onEvent: (event) => events.push(event) },
  );
});

describe('the result of a leaning plane', () => {
  it('is complete, readable, and alone beside the frames', async () => {
    const done = events.at(-1)!;
    expect(done.event).toBe('done');
    const files = readdirSync(place.out).sort();
    expect(files).toEqual(done.event === 'done' ? done.files.toSorted() : []);
    expect(files).toEqual([
      'composite.tif',
      'confidence.png',
      'coverage.png',
      'depth.png',
      'depth.tif',
      'report.html',
      'run.json',
      'sources.png',
    ]);
    expect(readdirSync(place.parent).sort()).toEqual(['frames', 'merged']);

    const result = await readResult(place.out);
    expect(result.record).toMatchObject({
      size: frameSize,
      bits: 16,
      channels: 3,
      // A plane hides nothing, and no travel is given.
      direction: 'unknown',
      anchorNumber: 4,
      warnings: [],
    });
    const names = Object.keys(stack.files);
    expect(result.record.frames.map(({ name }) => name)).toEqual(names);
    expect(result.record.frames.map((frame) => frame.sha256)).toEqual(
      names.map((name) => sha256(stack.files[name])),
    );
    const maps = await result.readMaps();
    for (const map of [maps.depth, maps.sources, maps.confidence, maps.coverage]) {
      expect(map).toHaveLength(width * height);
    }
    for (const { number, sharePercent } of result.record.frames) {
      const share = maps.sources.filter((source) => source === number).length / (width * height);
      expect(sharePercent).toBeCloseTo(100 * share, 6);
    }
  });

  it('leaves the photographs as they were, to the byte and the time of change', () => {
    expect(fingerprints(place.frames)).toEqual(before);
  });

  it('is sharper than every frame and nearer to the sharp scene', async () => {
    const composite = await readRgb16(join(place.out, 'composite.tif'));
    const frames = await Promise.all(Object.values(stack.files).map((file) => readRgb16(file)));
    expect(detail(composite)).toBeGreaterThan(1.2 * Math.max(...frames.map(detail)));
    expect(misfit(composite)).toBeLessThan(0.5 * misfit(frames[3]));
  });

  it('has the depth of the scene', async () => {
    const depth = await (await readResult(place.out)).readDepth();
    expect(median(inner.map((i) => Math.abs(depth[i] - stack.depth[i])))).toBeLessThan(0.2);
  });

  it('has its depth in millimetres when the step is told', async () => {
    const { frames, out } = placeStack(stack.files);
    const { stepMm } = stack.record;
    await merge(frames, { out, crop: 'anchor', threads: 2, stepMm });
    const { record, readDepth } = await readResult(out);
    expect(record.maps.depth.unit).toBe('mm');
    expect(record.frames.map((frame) => frame.depth)).toEqual(
      stack.record.positionsMm.map((position) => expect.closeTo(position, 6)),
    );
    const depth = await readDepth();
    const errors = inner.map((i) => Math.abs(depth[i] / stepMm - stack.depth[i]));
    expect(median(errors)).toBeLessThan(0.2);
  });

  it('is the same to the byte with 1 thread and with 3', async () => {
    const written = await Promise.all(
      [1, 3].map(async (threads) => {
        const out = join(makeFolder(), 'merged');
        await merge(place.frames, { out, crop: 'anchor', threads });
        const { 'run.json': _, 'report.html': __, ...pictures } = readFiles(out);
        return Object.entries(pictures).map(([name, bytes]) => `${name} ${sha256(bytes)}`);
      }),
    );
    expect(written[0]).toHaveLength(6);
    expect(written[1]).toEqual(written[0]);
  });
});

describe('bits and channels', () => {
  const tiff = (picture: Sharp) => picture.toColourspace('rgb16').tiff({ compression: 'lzw' });
  const grey = (picture: Sharp) => picture.greyscale().toColourspace('grey16').png();

  it.each([
    ['PNG', 'png', (files: Files) => files],
    ['TIFF', 'tif', (files: Files) => convertFiles(files, 'tif', tiff)],
  ] as const)('16-bit %s frames give a true 16-bit composite.%s', async (_, format, convert) => {
    const { frames, out } = placeStack(await convert(stack.files));
    await merge(frames, { out, crop: 'anchor', threads: 2, format });
    const file = join(out, `composite.${format}`);
    expect(await sharp(file).metadata()).toMatchObject({ depth: 'ushort', channels: 3 });
    const composite = await readRgb16(file);
    expect(new Set(composite).size).toBeGreaterThan(5000);
    // Its levels are those of the scene, not stretched or cut.
    expect(misfit(composite)).toBeLessThan(0.05 * 65535);
  });

  it('grey frames give a grey composite', async () => {
    const { frames, out } = placeStack(await convertFiles(stack.files, 'png', grey));
    await merge(frames, { out, crop: 'anchor', threads: 2 });
    expect((await readResult(out)).record).toMatchObject({ channels: 1, bits: 16 });
    expect(await sharp(join(out, 'composite.tif')).metadata()).toMatchObject({
      depth: 'ushort',
      channels: 1,
    });
  });
});

describe('selected frames', () => {
  it('keep their numbers in sources.png and run.json', async () => {
    const { frames, out } = placeStack(stack.files);
    await merge(frames, { out, crop: 'anchor', threads: 2, frames: [2, 6], skip: [4] });
    const { record, readSources, readDepth } = await readResult(out);
    expect(record.frames.map(({ number, name }) => [number, name])).toEqual(
      [2, 3, 5, 6].map((number) => [number, `000${number}.png`]),
    );
    expect(record.anchorNumber).toBe(3);
    const sources = await readSources();
    expect([...new Set(sources)].sort()).toEqual([2, 3, 5, 6]);
    // Each pixel names a frame whose plane of focus is close to what the scene has there.
    const away = inner.map((i) => Math.abs(sources[i] - 4 - stack.depth[i]));
    expect(median(away)).toBeLessThan(0.8);
    // Depth counts steps of the full stack from the anchor, which now is one step nearer.
    const depth = await readDepth();
    const within = inner.filter((i) => Math.abs(stack.depth[i]) < 2);
    expect(median(within.map((i) => Math.abs(depth[i] - 1 - stack.depth[i])))).toBeLessThan(0.3);
  });

  it('go by the order that is given, and by time only where every photograph has one', async () => {
    const names = Object.keys(stack.files);
    const files = Object.fromEntries(
      names.map((name, i) => [names[names.length - 1 - i], stack.files[name]]),
    );
    const { frames, out } = placeStack(files);
    await merge(frames, { out, threads: 2, order: 'name', preview: 2 });
    const { record } = await readResult(out);
    expect(record.orderedBy).toBe('name');
    expect(record.frames.map(({ name }) => name)).toEqual(names);
    expect(record.options.order).toBe('name');
    const bare = await convertFiles(
      { 'a.png': stack.files[names[0]], 'b.png': stack.files[names[1]] },
      'png',
      (picture) => picture,
    );
    const without = placeStack(bare);
    await expect(merge(without.frames, { out: without.out, order: 'time' })).rejects.toThrow(
      /for order but received time/,
    );
    expect(existsSync(without.out)).toBe(false);
  });
});
