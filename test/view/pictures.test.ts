import { appendFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { describe, expect, test } from 'vitest';
import { depthColour, depthStops, tableDepthColour } from '../../src/image/map-colours.js';
import { type Mend, readMends } from '../../src/mend/mends-file.js';
import { Raster, type RowSource, readRegion } from '../../src/mend/raster.js';
import { frameNearness } from '../../src/result/frame-nearness.js';
import { readResult } from '../../src/result/read-result.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { confidenceThumbnail, depthThumbnail, sourcesThumbnail } from '../../src/result/report/thumbnails.js';
import { writeRunRecord } from '../../src/result/write-run-record.js';
import { hashFile } from '../../src/stack/hash-file.js';
import { findStackFrames } from '../../src/trace/stack-frames.js';
import { FramePatches } from '../../src/view/frame-patches.js';
import { paintConfidence, paintDepth, paintSources } from '../../src/view/paint.js';
import { readReduced } from '../../src/view/reduce.js';
import { serveResult } from '../../src/view/serve.js';
import { Store } from '../../src/view/store.js';
import { Viewer } from '../../src/view/viewer.js';
import { makeResult, readSamples, size, subjectAt } from '../mend/made-result.js';

const mend: Mend = {
  id: 1,
  frame: 3,
  region: {
    kind: 'polygon',
    points: [
      [60, 50],
      [110, 60],
      [90, 100],
      [62, 90],
    ],
  },
  featherPx: 20,
  note: '',
  kept: true,
};

describe('colours', () => {
  test('of depth, frames and confidence are the same on the page and in the report', async () => {
    const { folder } = await makeResult();
    const { record, readDepth, readSources, readConfidence, readCoverage } = await readResult(folder);
    const maps = {
      ...record.size,
      depth: await readDepth(),
      sources: await readSources(),
      confidence: await readConfidence(),
      coverage: await readCoverage(),
    };
    const { min, max } = record.maps.depth;
    const whole = { x: 0, y: 0, ...record.size };
    const side = Math.max(record.size.width, record.size.height);
    const store = await Store.open();
    try {
      const raster = (name: 'depth' | 'sources' | 'confidence') =>
        store.raster(join(folder, record.maps[name].file), name === 'confidence' ? 'grey8' : 'grey16');
      const [depth, sources, confidence] = [
        await raster('depth'),
        await raster('sources'),
        await raster('confidence'),
      ];
      // Nowhere lowConfidence: the page puts dots over lowConfidence depth.
      const sure: RowSource = {
        ...record.size,
        channels: 1,
        bits: 8,
        readRow: (_y, _x, _count, into) => into.fill(255),
      };
      expect(paintDepth(depth, sure, whole, 1, { near: min!, far: max! })).toEqual(
        depthThumbnail(maps, side).pixels,
      );
      const nearness = frameNearness(record);
      expect(paintSources(sources, whole, 1, nearness)).toEqual(
        sourcesThumbnail(maps, nearness, side).pixels,
      );
      expect(paintConfidence(confidence, whole, 1)).toEqual(confidenceThumbnail(maps, side).pixels);
      for (const open of [depth, sources, confidence]) await open.close();
    } finally {
      await store.close();
    }
  });

  test("of the page's scale run from near to far, those of the pictures at both ends and in the middle", () => {
    const stops = depthStops(33);
    const hex = (value: number) => `#${Buffer.from(depthColour(value)).toString('hex')}`;
    expect([stops[0], stops[16], stops[32]]).toEqual([hex(1), hex(0.5), hex(0)]);
    for (const value of [0, 0.5, 1]) {
      depthColour(value).forEach((byte, channel) => {
        expect(Math.abs(tableDepthColour(value)[channel] - byte)).toBeLessThanOrEqual(1);
      });
    }
  });
});

describe('a picture read by parts', () => {
  test.each([
    [8, 3],
    [16, 3],
    [16, 1],
    [8, 1],
  ] as const)('gives the samples of the file, %i bits, %i channels', async (bits, channels) => {
    const { folder } = await makeResult({ bits, channels, format: 'png' });
    const store = await Store.open();
    try {
      const raster = await store.raster(join(folder, 'composite.png'), 'colour');
      expect([raster.bits, raster.channels]).toEqual([bits, channels]);
      const all = await readSamples(join(folder, 'composite.png'), bits, channels);
      const part = readRegion(raster, { x: 31, y: 17, width: 50, height: 40 });
      for (let y = 0; y < 40; y++) {
        const start = ((17 + y) * size.width + 31) * channels;
        const row = all.subarray(start, start + 50 * channels);
        expect(part.subarray(y * 50 * channels, (y + 1) * 50 * channels)).toEqual(row);
      }
      await raster.close();
    } finally {
      await store.close();
    }
  });

  test('is read where it lies when it is an uncompressed TIFF, and no other file is taken for one', async () => {
    const { folder } = await makeResult();
    const raster = await Raster.open(join(folder, 'composite.tif'));
    expect(raster?.width).toBe(size.width);
    await raster?.close();
    expect(await Raster.open(join(folder, 'sources.png'))).toBeUndefined();
    for (const options of [
      { compression: 'deflate' as const },
      { compression: 'none' as const, tile: true, tileWidth: 64, tileHeight: 64 },
    ]) {
      const path = join(folder, 'other.tif');
      await sharp(join(folder, 'composite.tif')).tiff(options).toFile(path);
      expect(await Raster.open(path)).toBeUndefined();
    }
    writeFileSync(join(folder, 'short.tif'), 'II*\0');
    expect(await Raster.open(join(folder, 'short.tif'))).toBeUndefined();
  });

  test('is averaged over whole blocks, numbers that are missing left out', () => {
    const [width, height, step] = [13, 11, 4];
    const values = Float32Array.from({ length: width * height }, (_, i) => (i % 7 === 0 ? Number.NaN : i));
    const source: RowSource = {
      width,
      height,
      channels: 1,
      bits: 32,
      readRow: (y, x, count, into) => into.set(values.subarray(y * width + x, y * width + x + count)),
    };
    const means = readReduced(source, { x: 0, y: 0, width: 3, height: 2 }, step, 'mean');
    const picks = readReduced(source, { x: 0, y: 0, width: 3, height: 2 }, step, 'pick');
    for (let y = 0; y < 2; y++) {
      for (let x = 0; x < 3; x++) {
        const block: number[] = [];
        for (let j = 0; j < step; j++) {
          for (let i = 0; i < step; i++) block.push(values[(y * step + j) * width + x * step + i]);
        }
        const known = block.filter((value) => !Number.isNaN(value));
        const mean = known.reduce((sum, value) => sum + value, 0) / known.length;
        expect(means[y * 3 + x]).toBeCloseTo(mean, 4);
        expect(picks[y * 3 + x]).toEqual(values[(y * step + 2) * width + x * step + 2]);
      }
    }
  });
});

describe('a viewer', () => {
  test('shows mends before they are saved as they are after', async () => {
    const { folder } = await makeResult({ bits: 16 });
    const viewer = await Viewer.open(folder);
    try {
      const { key } = await viewer.previewMends([mend]);
      const place = { level: 0, column: 0, row: 0 };
      const shown = await viewer.pictures.tile('composite', place, key);
      const before = await viewer.pictures.tile('composite', place, '0');
      await viewer.save([mend], []);
      const again = await Viewer.open(folder);
      const { key: savedKey } = await again.previewMends(await readMends(folder, size));
      expect((await again.pictures.tile('composite', place, savedKey))?.equals(shown!)).toBe(true);
      expect((await again.pictures.tile('composite', place, '0'))?.equals(before!)).toBe(true);
      await again.close();

      // The same pixels as on disk, but for what the tile's JPEG does to noise.
      const tile = await sharp(shown).raw().toBuffer();
      const saved = await readSamples(join(folder, 'composite.tif'), 16, 3);
      let sum = 0;
      for (let i = 0; i < tile.length; i++) sum += Math.abs(tile[i] - saved[i] / 257);
      expect(sum / tile.length).toBeLessThan(5);
      expect(viewer.info().applied).toEqual([1]);
      expect(viewer.info().mapsKey).not.toBe('1');
    } finally {
      await viewer.close();
    }
  });

  test('goes back to an earlier chain of mends, and knows none but its own', async () => {
    const { folder } = await makeResult();
    const viewer = await Viewer.open(folder);
    const place = { level: 0, column: 0, row: 0 };
    const one = await viewer.previewMends([mend]);
    const first = await viewer.pictures.tile('composite', place, one.key);
    const two = await viewer.previewMends([mend, { ...mend, id: 2, frame: 1 }]);
    expect(two.key).not.toBe(one.key);
    expect((await viewer.pictures.tile('composite', place, two.key))?.equals(first!)).toBe(false);
    expect((await viewer.previewMends([mend])).key).toBe(one.key);
    expect((await viewer.pictures.tile('composite', place, one.key))?.equals(first!)).toBe(true);
    expect((await viewer.previewMends([{ ...mend, kept: false }])).key).toBe('0');
    expect(await viewer.pictures.tile('composite', place, 'elsewhere')).toBeUndefined();
    await viewer.close();
  });

  test('crops a frame by parts as it would from the whole, at any scale', async () => {
    const { folder } = await makeResult({ bits: 16 });
    const regions = [
      { x: 40, y: 30, width: 100, height: 90 },
      // Decoded around it before, and beyond what was.
      { x: 60, y: 41, width: 31, height: 22 },
      { x: 0, y: 0, width: size.width, height: size.height },
    ];
    const byParts = await Viewer.open(folder);
    const whole = await Viewer.open(folder);
    const store = await Store.open();
    try {
      // A tile unpacks its frame.
      await whole.pictures.tile('frame-3', { level: 0, column: 0, row: 0 }, '0');
      for (const region of regions) {
        expect(await byParts.pictures.crop(3, region)).toEqual(await whole.pictures.crop(3, region));
      }
      const [frame] = await findStackFrames(await readRunRecord(folder));
      const path = frame.path!;
      const patches = new FramePatches();
      const raster = await store.copy(path, 'colour');
      for (const step of [1, 2, 4]) {
        const part = { x: Math.floor(50 / step), y: Math.floor(70 / step), width: 15, height: 9 };
        const full = { x: part.x * step, y: part.y * step, width: 15 * step, height: 9 * step };
        const source = await patches.over(frame, path, full);
        expect(readReduced(source, part, step, 'mean')).toEqual(readReduced(raster, part, step, 'mean'));
      }
      await raster.close();
    } finally {
      await store.close();
      await byParts.close();
      await whole.close();
    }
  });

  test('takes a frame that is an uncompressed TIFF for the same picture', async () => {
    const shots: (Buffer | undefined)[] = [];
    for (const isTiff of [false, true]) {
      const { folder, frames } = await makeResult({ bits: 16 });
      if (isTiff) {
        const path = join(frames, 'f3.tif');
        await sharp(join(frames, 'f3.png')).toColourspace('rgb16').tiff({ compression: 'none' }).toFile(path);
        const record = await readRunRecord(folder);
        const sha256 = await hashFile(path);
        const changed = record.frames.map((frame) =>
          frame.number === 3 ? { ...frame, name: 'f3.tif', path: 'f3.tif', sha256 } : frame,
        );
        await writeRunRecord(folder, { ...record, frames: changed });
      }
      const viewer = await Viewer.open(folder);
      shots.push(await viewer.pictures.crop(3, { x: 40, y: 30, width: 100, height: 90 }));
      shots.push(await viewer.pictures.tile('frame-3', { level: 0, column: 0, row: 0 }, '0'));
      await viewer.close();
    }
    expect(shots[0]).toBeDefined();
    expect(shots.slice(2)).toEqual(shots.slice(0, 2));
  });

  test('names a frame that has changed since the merge, and measures nothing in it', async () => {
    const { folder, frames } = await makeResult();
    appendFileSync(join(frames, 'f2.png'), 'x');
    const viewer = await Viewer.open(folder);
    try {
      viewer.startBackground();
      await expect.poll(() => viewer.progress().problem, { timeout: 20_000 }).toMatch(/f2\.png.*changed/);
      const { curve } = viewer.spot(100, 80, 0);
      expect(curve?.map((measure) => measure === null)).toEqual([false, true, false]);
      await expect(viewer.previewMends([{ ...mend, frame: 2 }])).rejects.toThrow(/changed since the merge/);
    } finally {
      await viewer.close();
    }
  });

  test('has the tiles it prepared, and the same ones when asked for anew', async () => {
    const { folder } = await makeResult();
    const place = { level: 0, column: 0, row: 0 };
    const prepared = await Viewer.open(folder);
    prepared.prepare();
    const plain = await Viewer.open(folder);
    expect(await prepared.pictures.tile('composite', place, '0')).toEqual(
      await plain.pictures.tile('composite', place, '0'),
    );
    expect(await prepared.pictures.tile('composite', { ...place, column: 1 }, '0')).toBeUndefined();
    await prepared.close();
    await plain.close();
  });

  test('shows a frame in the place and light of the composite', async () => {
    const { folder } = await makeResult();
    const viewer = await Viewer.open(folder);
    const tile = await viewer.pictures.tile('frame-1', { level: 0, column: 0, row: 0 }, '0');
    const { data, info } = await sharp(tile).raw().toBuffer({ resolveWithObject: true });
    let worst = 0;
    for (let y = 8; y < info.height - 8; y++) {
      for (let x = 8; x < info.width - 8; x++) {
        worst = Math.max(worst, Math.abs(data[(y * info.width + x) * 3 + 1] - subjectAt(1, x, y, 1)));
      }
    }
    // The tile is a JPEG of quality 95.
    expect(worst).toBeLessThan(7);
    await viewer.close();
  });

  test('knows spots, sections and the frames that are sharp in a region', async () => {
    const { folder } = await makeResult();
    const viewer = await Viewer.open(folder);
    expect(viewer.spot(5, 6, 0)).toEqual({ x: 5, y: 6 });
    viewer.startBackground();
    await expect
      .poll(() => viewer.progress(), { timeout: 20_000 })
      .toMatchObject({ measured: 3, mapsReady: true });
    const record = await readRunRecord(folder);
    const [depth, confidence, sources] = await Promise.all([
      readSamples(join(folder, 'depth.tif'), 32, 1),
      readSamples(join(folder, 'confidence.png'), 8, 1),
      readSamples(join(folder, 'sources.png'), 16, 1),
    ]);
    const at = 6 * size.width + 5;
    const spot = viewer.spot(5, 6, 0);
    expect(spot.depth).toBeCloseTo(depth[at], 6);
    expect(spot.confidence).toBeCloseTo(confidence[at] / 255, 9);
    expect(spot.sources).toEqual([[sources[at], 1]]);
    expect(spot.coverage).toBe(record.maps.coverage.classes[at % record.maps.coverage.classes.length].name);
    expect(spot.curve).toHaveLength(3);
    expect(viewer.spot(0, 0, 0).depth).toBeNull();
    const around = viewer.spot(50, 60, 4).sources!;
    expect(around.reduce((sum, [, share]) => sum + share, 0)).toBeCloseTo(1, 9);

    const section = await viewer.section([10, 20], [40, 20], 31);
    section.depths.forEach((value, i) => {
      const wanted = depth[20 * size.width + 10 + i];
      if (value === null) expect(Number.isNaN(wanted)).toBe(true);
      else expect(value).toBeCloseTo(wanted, 6);
    });

    const { frames, crop } = await viewer.candidates(mend.region);
    const measures = frames.map(({ measure }) => measure!);
    expect(measures).toEqual([...measures].sort((first, second) => second - first));
    expect(frames.map(({ number }) => number).sort()).toEqual([1, 2, 3]);
    expect(crop.x).toBeLessThan(60);
    const jpeg = await viewer.pictures.crop(frames[0].number, crop);
    expect(await sharp(jpeg).metadata()).toMatchObject({ width: crop.width, height: crop.height });
    await viewer.close();
  });

  test('says which frames are gone, and cannot show or mend from a changed one', async () => {
    const { folder, frames } = await makeResult();
    writeFileSync(join(frames, 'f2.png'), 'something else');
    const viewer = await Viewer.open(folder);
    const place = { level: 0, column: 0, row: 0 };
    await expect(viewer.pictures.tile('frame-2', place, '0')).rejects.toThrow(/has changed since the merge/);
    await expect(viewer.previewMends([{ ...mend, frame: 2 }])).rejects.toThrow(/has changed since the merge/);
    await viewer.close();
    const blind = await Viewer.open(folder, { framesFrom: folder });
    expect(blind.info().warnings[0]).toMatch(/3 of 3 frames are not in .* Put them back there/);
    await blind.close();
    const served = await serveResult(folder, { framesFrom: folder });
    expect(served.viewer.info().warnings[0]).toMatch(/3 of 3 frames are not in .* with framesFrom FOLDER/);
    await served.close();
  });
});
