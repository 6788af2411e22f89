import { mkdirSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { beforeAll, describe, expect, it, vi } from 'vitest';
import { decodeLight } from '../../samples/sensor.js';
import { exportResult } from '../../src/export/export-result.js';
import { merge } from '../../src/mend/merge.js';
import { readResult } from '../../src/result/read-result.js';
import { unfinishedPath } from '../../src/result/unfinished.js';
import { decodeFrame } from '../../src/stack/decode.js';
import { readExif } from '../../src/stack/exif.js';
import { developStack } from '../../src/stack/raw/develop-stack.js';
import { plainDevelopment } from '../../src/stack/raw/development.js';
import { iccProfile } from '../../src/stack/raw/icc-profile.js';
import { rawWorkers } from '../../src/stack/raw/raw-workers.js';
import { readStack } from '../../src/stack/read-stack.js';
import { decodeReducedFrame } from '../../src/trace/decode-reduced.js';
import { readFrameRegion } from '../../src/trace/frame-region.js';
import { findStackFrames } from '../../src/trace/stack-frames.js';
import { traceRegion } from '../../src/trace/trace.js';
import { buildDng, mosaicOf } from '../stack/raw/dng.js';
import { type Files, frameSize, placeStack, readRgb16, renderPlane } from './small-stack.js';

const { width, height } = frameSize;

/** A frame of 16 bits in the colours of a camera that sees linear sRGB, under light that makes green strongest. */
async function rawOf(picture: Buffer, number: number): Promise<Buffer> {
  const neutral = [0.5, 1, 0.7] as const;
  const pixels = await readRgb16(picture);
  const linear = Float32Array.from(pixels, (value, i) => decodeLight(value / 65_535) * neutral[i % 3]);
  const exif = [
    { tag: 33434, rationals: [[1, 60]] },
    { tag: 36867, ascii: `2031:05:06 07:08:0${number}` },
  ];
  return buildDng({
    ...{ width, height, bits: 14, blackLevel: 512, whiteLevel: 16_383, neutral, exif },
    mosaic: mosaicOf(linear, width, height, 'GBRG', 512, 16_383),
    pattern: 'GBRG',
  });
}

describe('a merge of raw files', () => {
  let frames: string;
  let scratch: string;
  let out: string;
  let sharpRgb: Uint16Array;

  beforeAll(async () => {
    const plane = await renderPlane({ frames: 5, format: 'tif', bits: 16, noise: 0 });
    sharpRgb = plane.sharp;
    const files: Files = {};
    let number = 0;
    for (const [name, file] of Object.entries(plane.files))
      files[name.replace('.tif', '.DNG')] = await rawOf(file, ++number);
    const placed = placeStack(files);
    frames = placed.frames;
    scratch = join(placed.parent, 'scratch');
    mkdirSync(scratch);
    // What a process left that was killed: no process has so high a number.
    const left = unfinishedPath(join(scratch, 'lamella-frames'), 'partial').replace(
      `-${process.pid}-`,
      '-99999999-',
    );
    mkdirSync(left);
    ({ out } = await merge(frames, { crop: 'anchor', scratch, threads: 2, exposureStops: 0 }));
  });

  it('shows the scene as if every part had been sharp', async () => {
    const { pixels } = await (await readResult(out)).readComposite();
    let squares = 0;
    let count = 0;
    for (let y = 12; y < height - 12; y++) {
      for (let i = (y * width + 12) * 3; i < (y * width + width - 12) * 3; i++, count++)
        squares += ((pixels[i] as number) - sharpRgb[i]) ** 2;
    }
    expect(20 * Math.log10(65_535 / Math.sqrt(squares / count))).toBeGreaterThan(38);
  });

  it('holds 16 bits with the profile of its colour space and the EXIF of the anchor', async () => {
    const { record } = await readResult(out);
    expect(record).toMatchObject({
      bits: 16,
      composite: { bits: 16, hasIcc: true, hasExif: true },
      development: { colourSpace: 'srgb', exposureStops: 0, black: [512, 512, 512, 512], white: 15_871 },
    });
    expect(record.development?.multipliers.map((value) => value.toFixed(3))).toEqual([
      ...['2.000', '1.000', '1.429', '1.000'],
    ]);
    const { icc } = await sharp(join(out, 'composite.tif')).metadata();
    expect(icc?.equals(iccProfile('srgb'))).toBe(true);
    expect(record.frames[2].exif).toMatchObject({
      exposureS: 1 / 60,
      takenMs: Date.UTC(2031, 4, 6, 7, 8, 3),
    });
    expect(await readExif(join(out, 'composite.tif'))).toMatchObject({ exposureS: 1 / 60, make: 'Lamella' });
  });

  it('is traced by its raw files, developed once more as they were merged', async () => {
    const { record } = await readResult(out);
    const report = await traceRegion(out, { x: 100, y: 80, width: 16, height: 16 });
    expect(report.focusCurve?.frames.filter(({ measure }) => measure === null)).toEqual([]);
    const [frame] = await findStackFrames(record);
    const { pixels } = await readFrameRegion(frame, frame.path!, { x: 0, y: 0, width, height });
    const listed = await readStack(frames);
    const { stack } = await developStack(listed, record.anchorNumber, plainDevelopment);
    expect(pixels).toEqual((await decodeFrame(stack.frames[0])).pixels);
    const reduced = await decodeReducedFrame(frame, frame.path!, 2);
    expect([reduced.width, reduced.height]).toEqual([width / 2, height / 2]);
  });

  it('is exported from the same development: all frames as one run are the composite', async () => {
    const folder = join(out, '..', 'export');
    await exportResult(out, { out: folder, runs: [5, 0] });
    const read = (path: string) =>
      sharp(path, { ignoreIcc: true }).toColourspace('rgb16').raw({ depth: 'ushort' });
    const [run, composite] = await Promise.all(
      [join(folder, 'runs', 'frames-0001-0005.tif'), join(out, 'composite.tif')].map((path) =>
        read(path).toBuffer(),
      ),
    );
    expect(run.equals(composite)).toBe(true);
  });

  it('is exported in runs that overlap with each file developed once', async () => {
    const run = vi.spyOn(rawWorkers, 'run');
    try {
      const { record } = await exportResult(out, { out: join(out, '..', 'runs-of-three'), runs: [3, 2] });
      expect(record.runs).toHaveLength(3);
      const developed = run.mock.calls.flatMap(([job]) => (job.kind === 'develop' ? [job.path] : []));
      expect(developed.sort()).toEqual(readdirSync(frames).map((name) => join(frames, name)));
    } finally {
      run.mockRestore();
    }
  });

  it('leaves nothing in the scratch folder, and removes what a killed process left there', () => {
    expect(readdirSync(scratch)).toEqual([]);
    expect(readdirSync(frames)).toHaveLength(5);
  });
});
