import { mkdtempSync, utimesSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { beforeAll, expect, test } from 'vitest';
import { decodeLight } from '../../samples/sensor.js';
import { watch } from '../../src/watch/watch.js';
import type { WatchEvent } from '../../src/watch/watch-events.js';
import { frameSize, readRgb16, renderPlane } from '../merge/small-stack.js';
import { buildDng, mosaicOf } from '../stack/raw/dng.js';
import { removeAfter } from '../temporary-folders.js';

const { width, height } = frameSize;
/** Raw files and JPEG files of the same frames, in capture order. */
let raws: Buffer[];
let jpegs: Buffer[];

beforeAll(async () => {
  const plane = await renderPlane({ frames: 5, format: 'tif', bits: 16, noise: 0 });
  const files = Object.values(plane.files);
  raws = await Promise.all(
    files.map(async (file, k) => {
      const pixels = await readRgb16(file);
      const linear = Float32Array.from(pixels, (value) => decodeLight(value / 65_535));
      return buildDng({
        ...{ width, height, bits: 14, blackLevel: 512, whiteLevel: 16_383, neutral: [1, 1, 1] as const },
        exif: [{ tag: 36867, ascii: `2031:05:06 07:08:0${k}` }],
        mosaic: mosaicOf(linear, width, height, 'RGGB', 512, 16_383),
        pattern: 'RGGB',
      });
    }),
  );
  jpegs = await Promise.all(files.map((file) => sharp(file).toColourspace('srgb').jpeg().toBuffer()));
});

/** Watches a folder of these files, in which they have lain, until there are so many frames. */
async function watchUntil(files: Record<string, Buffer>, frames: number, prefer?: 'raw' | 'jpeg') {
  const folder = mkdtempSync(join(tmpdir(), 'lamella-raw-watch-'));
  removeAfter('test', folder);
  for (const [name, content] of Object.entries(files)) {
    writeFileSync(join(folder, name), content);
    utimesSync(join(folder, name), 1e9, 1e9);
  }
  const stop = new AbortController();
  const events: WatchEvent[] = [];
  const ended = watch(folder, prefer ? { prefer } : {}, {
    signal: stop.signal,
    onEvent: (event) => events.push(event),
  });
  const told = () => events.filter((event) => event.event === 'frame').map(({ name }) => name);
  const started = Date.now();
  while (told().length < frames && Date.now() - started < 60_000)
    await new Promise((resolve) => setTimeout(resolve, 50));
  stop.abort();
  const { findings } = await ended;
  return { names: told(), events, findings };
}

test('raw files are judged like others', async () => {
  const { names, findings } = await watchUntil(
    Object.fromEntries(raws.map((raw, k) => [`f${k + 1}.dng`, raw])),
    5,
  );
  expect(names).toEqual(['f1.dng', 'f2.dng', 'f3.dng', 'f4.dng', 'f5.dng']);
  expect(findings.filter(({ kind }) => ['light', 'left-out', 'highlights'].includes(kind))).toEqual([]);
});

test.each([
  ['jpeg', 'JPG', 'DNG'],
  ['raw', 'DNG', 'JPG'],
] as const)('of a raw file and a JPEG of one name one is used: %s', async (prefer, used, passed) => {
  const both = [0, 1, 2].flatMap((k) => [[`f${k}.DNG`, raws[k]] as const, [`f${k}.JPG`, jpegs[k]] as const]);
  const { names, events } = await watchUntil(Object.fromEntries(both), 3, prefer);
  expect(names).toEqual([`f0.${used}`, `f1.${used}`, `f2.${used}`]);
  const told = events.filter((event) => event.event === 'passed-over').map(({ name }) => name);
  expect(told).toEqual([`f0.${passed}`, `f1.${passed}`, `f2.${passed}`]);
});
