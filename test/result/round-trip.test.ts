import { truncateSync, unlinkSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { expect, test } from 'vitest';
import { InputError } from '../../src/errors.js';
import { coverageClasses } from '../../src/result/coverage.js';
import { readResult } from '../../src/result/read-result.js';
import type { CompositeRecord } from '../../src/result/run-record.js';
import { type Picture, writeComposite } from '../../src/result/write-composite.js';
import { type ResultMaps, writeMaps } from '../../src/result/write-maps.js';
import { writeRunRecord } from '../../src/result/write-run-record.js';
import { seededRandom } from '../outside/seeded-random.js';
import { sampleRecord } from './sample-record.js';
import { temporaryFolder } from './temporary-folder.js';

const software = 'Lamella 0.1.0';

/** Random maps with gaps, on shared memory as a merge has them. */
function sampleMaps(width: number, height: number): ResultMaps {
  const random = seededRandom(7);
  const count = width * height;
  const maps = {
    width,
    height,
    depth: new Float32Array(new SharedArrayBuffer(count * 4)),
    sources: new Uint16Array(new SharedArrayBuffer(count * 2)),
    confidence: new Uint8Array(new SharedArrayBuffer(count)),
    coverage: new Uint8Array(new SharedArrayBuffer(count)),
  };
  for (let i = 0; i < count; i++) {
    maps.depth[i] = random() < 0.1 ? Number.NaN : random() * 40 - 20;
    maps.sources[i] = random() < 0.1 ? 0 : random() * 65536;
    maps.confidence[i] = random() * 256;
    maps.coverage[i] = random() * coverageClasses.length;
  }
  return maps;
}

function samplePicture(width: number, height: number, channels: 1 | 3, bits: 8 | 16): Picture {
  const random = seededRandom(bits + channels);
  const count = width * height * channels;
  const pixels =
    bits === 8
      ? new Uint8Array(new SharedArrayBuffer(count))
      : new Uint16Array(new SharedArrayBuffer(count * 2));
  for (let i = 0; i < count; i++) pixels[i] = random() * 2 ** bits;
  return { pixels, width, height, channels };
}

function bytesOf(array: Uint8Array | Uint16Array | Float32Array): Buffer {
  return Buffer.from(array.buffer, array.byteOffset, array.byteLength);
}

async function writeSample(folder: string, maps: ResultMaps, composite: CompositeRecord): Promise<void> {
  const size = { width: maps.width, height: maps.height };
  const written = await writeMaps(folder, maps, { unit: 'mm', software });
  await writeRunRecord(folder, sampleRecord({ size, maps: written, composite }));
}

// Widths that are odd, and pictures of more than one piece and strip (1 MiB and 256 KiB).
test.each([
  [1, 1],
  [7, 5],
  [801, 703],
])('maps of %i x %i come back bit for bit', async (width, height) => {
  const folder = temporaryFolder();
  const maps = sampleMaps(width, height);
  const { notes, ...composite } = await writeComposite(folder, samplePicture(width, height, 1, 8), {
    format: 'png',
    software,
  });
  expect(notes).toEqual([]);
  await writeSample(folder, maps, composite);
  const back = await (await readResult(folder)).readMaps();
  for (const name of ['depth', 'sources', 'confidence', 'coverage'] as const) {
    expect(Buffer.compare(bytesOf(back[name]), bytesOf(maps[name])), name).toBe(0);
  }
});

test.each([
  [1, 8, 'tif'],
  [3, 8, 'tif'],
  [1, 16, 'tif'],
  [3, 16, 'tif'],
  [1, 8, 'png'],
  [3, 8, 'png'],
  [1, 16, 'png'],
  [3, 16, 'png'],
] as const)(
  'a composite of %i channels and %i bits comes back bit for bit from %s',
  async (channels, bits, format) => {
    const folder = temporaryFolder();
    const picture = samplePicture(401, 303, channels, bits);
    const { notes: _, ...composite } = await writeComposite(folder, picture, { format, software });
    expect(composite).toEqual({ file: `composite.${format}`, bits, channels, hasIcc: false, hasExif: false });
    await writeSample(folder, sampleMaps(401, 303), composite);
    const back = await (await readResult(folder)).readComposite();
    expect(Buffer.compare(bytesOf(back.pixels), bytesOf(picture.pixels))).toBe(0);
    expect(back).toMatchObject({ width: 401, height: 303, channels });
  },
);

test.each([
  ['a plane', [3, 3, 3, 3]],
  ['nothing at all', [Number.NaN, Number.NaN, Number.NaN, Number.NaN]],
  ['a wide range', [-1e-3, 1e6, Number.NaN, 5]],
])('depth.png maps back to depth.tif within half a value: %s', async (_, values) => {
  const folder = temporaryFolder();
  const maps = { ...sampleMaps(2, 2), depth: new Float32Array(values) };
  const { depth, depthPng } = await writeMaps(folder, maps, { unit: 'step', software });
  const finite = values.filter(Number.isFinite);
  expect(depth.min).toBe(finite.length ? Math.min(...maps.depth.filter(Number.isFinite)) : null);

  const bytes = await sharp(join(folder, 'depth.png'))
    .toColourspace('grey16')
    .raw({ depth: 'ushort' })
    .toBuffer();
  maps.depth.forEach((value, i) => {
    const stored = bytes.readUInt16LE(i * 2);
    if (Number.isNaN(value)) expect(stored).toBe(0);
    else
      expect(Math.abs(depthPng.offset + depthPng.scale * stored - value)).toBeLessThanOrEqual(
        depthPng.scale * 0.51,
      );
    if (!Number.isNaN(value)) expect(stored).toBeGreaterThanOrEqual(1);
  });
});

test('files that are missing, cut off or of another size are refused by name', async () => {
  const folder = temporaryFolder();
  const { notes: _, ...composite } = await writeComposite(folder, samplePicture(64, 48, 3, 8), {
    format: 'tif',
    software,
  });
  await writeSample(folder, sampleMaps(64, 48), composite);
  const result = await readResult(folder);
  truncateSync(join(folder, 'depth.tif'), 5000);
  await expect(result.readDepth()).rejects.toThrow(/depth\.tif: it is missing or damaged/);
  unlinkSync(join(folder, 'sources.png'));
  await expect(result.readSources()).rejects.toThrow(InputError);
  await writeComposite(folder, samplePicture(32, 48, 3, 8), { format: 'tif', software });
  await expect(result.readComposite()).rejects.toThrow(/Expected 64 x 48 pixels .* received 32 x 48/);
});
