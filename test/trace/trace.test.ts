import { createHash } from 'node:crypto';
import { appendFileSync, existsSync, mkdirSync, readFileSync, renameSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { describe, expect, test } from 'vitest';
import { composeMatrices, type Matrix3 } from '../../src/image/transform.js';
import { viewOf } from '../../src/image/view.js';
import { coverageClasses } from '../../src/result/coverage.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import type { RunRecord } from '../../src/result/run-record.js';
import { writeRunRecord } from '../../src/result/write-run-record.js';
import { alignRegion, frameFootprint } from '../../src/trace/aligned-region.js';
import { bestFrames, writeContactSheet } from '../../src/trace/contact-sheet.js';
import { readFrameRegion } from '../../src/trace/frame-region.js';
import { LocalKernels } from '../../src/trace/local-kernels.js';
import { checkPictureRegion, parsePictureRegion } from '../../src/trace/picture-region.js';
import { findStackFrames, type StackFrame } from '../../src/trace/stack-frames.js';
import { traceRegion } from '../../src/trace/trace.js';
import { reducedMatrix } from '../../src/view/frame-rasters.js';
import { runLamella } from '../cli/fake-system.js';
import { makeResult, readSamples, size, subjectAt } from '../mend/made-result.js';

const region = { x: 40, y: 30, width: 64, height: 50 };

describe('a region of a frame, aligned', () => {
  test.each([8, 16] as const)('shows the subject in the light of the anchor, %i bits', async (bits) => {
    const { folder } = await makeResult({ bits });
    const frames = await findStackFrames(await readRunRecord(folder));
    const kernels = await LocalKernels.start();
    for (const frame of frames) {
      const footprint = frameFootprint(frame.toFrame, region, frame.size)!;
      const patch = await readFrameRegion(frame, frame.path!, footprint);
      const { planes } = alignRegion(kernels, patch, frame.size, frame.toFrame, frame.gainRatio, region);
      let worst = 0;
      for (let i = 0; i < region.width * region.height; i++) {
        const x = region.x + (i % region.width);
        const y = region.y + Math.floor(i / region.width);
        planes.forEach((plane, channel) => {
          worst = Math.max(worst, Math.abs(plane[i] - subjectAt(frame.number, x, y, channel)));
        });
      }
      expect(worst).toBeLessThan(bits === 16 ? 0.2 : 1);
    }
  });

  test('is the same whether cut from the frame or from the whole of it', async () => {
    const { folder } = await makeResult({ bits: 16 });
    const frame = (await findStackFrames(await readRunRecord(folder)))[2];
    const kernels = await LocalKernels.start();
    const part = await readFrameRegion(
      frame,
      frame.path!,
      frameFootprint(frame.toFrame, region, frame.size)!,
    );
    const all = await readFrameRegion(frame, frame.path!, { x: 0, y: 0, ...size });
    const [first, second] = [part, all].map(
      (patch) => alignRegion(kernels, patch, frame.size, frame.toFrame, frame.gainRatio, region).planes,
    );
    expect(first).toEqual(second);
  });

  test('tells how far the frame reaches', async () => {
    const { folder } = await makeResult();
    const frame = (await findStackFrames(await readRunRecord(folder)))[2];
    const kernels = await LocalKernels.start();
    const corner = { x: 0, y: 0, width: 20, height: 12 };
    const patch = await readFrameRegion(
      frame,
      frame.path!,
      frameFootprint(frame.toFrame, corner, frame.size)!,
    );
    const { coveredFrom, coveredTo } = alignRegion(
      kernels,
      patch,
      frame.size,
      frame.toFrame,
      [1, 1, 1],
      corner,
    );
    // The frame's corner lies at 2.6, 1.9; two pixels within it are not counted.
    expect(coveredFrom[11]).toBe(5);
    expect(coveredTo[11]).toBe(20);
    expect(coveredTo[0]).toBeLessThanOrEqual(coveredFrom[0]);
    expect(frameFootprint(frame.toFrame, { x: -400, y: 0, width: 9, height: 9 }, frame.size)).toBeUndefined();
  });

  test('reduced grids meet where blocks of pixels do', () => {
    const m: Matrix3 = [1.01, -0.02, 5, 0.02, 1.01, -3, 0, 0, 1];
    for (const step of [2, 4, 8]) {
      // Into full pixels, through the matrix, and back to blocks.
      const half = (step - 1) / 2;
      const up: Matrix3 = [step, 0, half, 0, step, half, 0, 0, 1];
      const down: Matrix3 = [1 / step, 0, -half / step, 0, 1 / step, -half / step, 0, 0, 1];
      const wanted = composeMatrices(down, composeMatrices(m, up));
      reducedMatrix(m, step).forEach((value, i) => {
        expect(value).toBeCloseTo(wanted[i], 12);
      });
    }
  });
});

/** A result over frames of one grating at several contrasts, all in place. */
async function makeGratings(contrasts: readonly number[], period = 6) {
  const { folder, frames, parent } = await makeResult();
  const record = await readRunRecord(folder);
  const files = contrasts.map((contrast, i) => {
    const pixels = new Uint8Array(size.width * size.height * 3);
    for (let p = 0; p < pixels.length / 3; p++) {
      const value = 128 + contrast * Math.sin((2 * Math.PI * (p % size.width)) / period);
      pixels.fill(Math.round(value), p * 3, p * 3 + 3);
    }
    return { name: `g${i + 1}.png`, pixels };
  });
  const changed: RunRecord = { ...record, frames: [] };
  for (const [i, { name, pixels }] of files.entries()) {
    const bytes = await sharp(pixels, { raw: { ...size, channels: 3 } })
      .png()
      .toBuffer();
    writeFileSync(join(frames, name), bytes);
    const sha256 = createHash('sha256').update(bytes).digest('hex');
    const identity: Matrix3 = [1, 0, 0, 0, 1, 0, 0, 0, 1];
    changed.frames.push({
      ...record.frames[0],
      number: i + 1,
      name,
      path: name,
      sha256,
      transform: identity,
      gainRatio: [1, 1, 1],
      depth: i,
    });
  }
  writeFileSync(join(folder, 'run.json'), JSON.stringify(changed));
  return { folder, frames, parent };
}

test('the focus curve follows the formula of the measure', async () => {
  const { folder } = await makeGratings([3, 30, 60, 15]);
  // Ten whole periods wide.
  const { focusCurve } = await traceRegion(folder, { ...region, width: 60 });
  const values = focusCurve!.frames.map(({ measure }) => measure!);
  expect(focusCurve!.windowPx).toBe(5);
  // For A sin(kx) the squared modified Laplacian is (2 - 2 cos k)^2 A^2 sin^2(kx), of mean (2 - 2 cos k)^2 A^2 / 2; the
  // window keeps the mean over whole periods. Contrasts are such that
  // rounding to whole levels matters to the least alone.
  const k = (2 * Math.PI) / 6;
  [3, 30, 60, 15].forEach((contrast, i) => {
    const wanted = ((2 - 2 * Math.cos(k)) ** 2 * contrast ** 2) / 2;
    expect(values[i] / wanted).toBeGreaterThan(i === 0 ? 0.9 : 0.97);
    expect(values[i] / wanted).toBeLessThan(i === 0 ? 1.6 : 1.03);
  });
});

test('detail too coarse for the finest window is judged at a coarser one', async () => {
  const { folder } = await makeGratings([2, 60, 2, 2], 64);
  const { focusCurve } = await traceRegion(folder, { x: 60, y: 60, width: 64, height: 8 });
  expect(focusCurve!.windowPx).toBeGreaterThan(5);
  const values = focusCurve!.frames.map(({ measure }) => measure!);
  expect(Math.max(...values)).toBe(values[1]);
});

describe('a trace', () => {
  test('counts what the maps say of the region', async () => {
    const { folder } = await makeResult();
    const report = await traceRegion(folder, region);
    const path = (name: string) => join(folder, name);
    const [sources, depth, confidence] = await Promise.all([
      readSamples(path('sources.png'), 16, 1),
      readSamples(path('depth.tif'), 32, 1),
      readSamples(path('confidence.png'), 8, 1),
    ]);
    const inside: number[] = [];
    for (let y = 30; y < 80; y++) for (let x = 40; x < 104; x++) inside.push(y * size.width + x);
    const share = (number: number) =>
      (100 * inside.filter((i) => sources[i] === number).length) / inside.length;
    expect(report.sources.map(({ frame }) => frame).sort()).toEqual([1, 2]);
    for (const { frame, sharePercent } of report.sources) expect(sharePercent).toBeCloseTo(share(frame), 9);
    const depths = inside.map((i) => depth[i]).filter((value) => !Number.isNaN(value));
    expect(report.depth).toMatchObject({ unit: 'step', min: Math.min(...depths), max: Math.max(...depths) });
    const mean = inside.reduce((sum, i) => sum + confidence[i], 0) / inside.length / 255;
    expect(report.confidence.mean).toBeCloseTo(mean, 9);
    expect(report.coverage).toHaveLength(coverageClasses.length);
    expect(report.coverage.reduce((sum, { percent }) => sum + percent, 0)).toBeCloseTo(100, 9);
    expect(report.warnings).toEqual([]);
  });

  test('of a pixel without depth says so', async () => {
    const { folder } = await makeResult();
    expect((await traceRegion(folder, { x: 0, y: 0, width: 1, height: 1 })).depth).toBeNull();
  });

  test('goes without frames that moved, finds them elsewhere, and tells of changed ones', async () => {
    const { folder, frames, parent } = await makeResult();
    const moved = join(parent, 'moved');
    renameSync(frames, moved);
    const blind = await traceRegion(folder, region);
    expect(blind.focusCurve).toBeNull();
    expect(blind.warnings.join()).toMatch(/None of the frames .* framesFrom FOLDER/);
    expect(blind.sources).toHaveLength(2);

    const found = await traceRegion(folder, region, { framesFrom: moved });
    expect(found.warnings).toEqual([]);
    expect(found.focusCurve!.frames.every(({ measure }) => measure !== null)).toBe(true);

    appendFileSync(join(moved, 'f2.png'), 'x');
    const changed = await traceRegion(folder, region, { framesFrom: moved });
    expect(changed.warnings.join()).toMatch(/Frame 2 .*f2.png.* has changed since the merge/);
    expect(changed.focusCurve!.frames.map(({ measure }) => measure === null)).toEqual([false, true, false]);
  });

  test('names the folder in which it looked, and does not tell one fault again for every frame', async () => {
    const { folder, parent } = await makeResult();
    const empty = join(parent, 'empty');
    mkdirSync(empty);
    const { warnings } = await traceRegion(folder, region, { framesFrom: empty });
    expect(warnings).toEqual([expect.stringContaining(`None of the frames is in "${empty}"`)]);

    const record = await readRunRecord(folder);
    const [frame] = record.frames;
    const many = Array.from({ length: 20 }, (_, i) => ({ ...frame, number: i + 1, sha256: 'f'.repeat(64) }));
    await writeRunRecord(folder, { ...record, frames: many });
    const changed = await traceRegion(folder, region);
    expect(changed.warnings).toHaveLength(4);
    expect(changed.warnings[0]).toMatch(/^Frame 1 .*has changed/);
    expect(changed.warnings[3]).toBe('So it is with 17 more of the 20 frames.');
  });
});

describe('the contact sheet', () => {
  test('shows the composite first, pixel for pixel, and the frames that matter', async () => {
    const { folder, parent } = await makeResult();
    const report = await traceRegion(folder, region);
    expect(bestFrames(report)).toEqual([1, 2, 3]);
    const path = join(parent, 'sheet.png');
    await writeContactSheet(path, folder, report);
    const sheet = await sharp(path).raw().toBuffer({ resolveWithObject: true });
    const composite = await readSamples(join(folder, 'composite.tif'), 8, 3);
    const [drawn, picture] = [viewOf(sheet.data, sheet.info, 3), viewOf(composite, size, 3)];
    // Magnified 3 times; 10 px of margin, 24 px of label: see contact-sheet.ts.
    for (const [x, y] of [
      [0, 0],
      [63, 0],
      [20, 49],
    ]) {
      for (const channel of [0, 1, 2]) {
        const shown = drawn.get(10 + 24 + y * 3 + 1, 10 + x * 3 + 1, channel);
        expect(shown).toBe(picture.get(region.y + y, region.x + x, channel));
      }
    }
    expect(sheet.info.height).toBe(10 + 2 * (24 + 150 + 10));
  });

  test('goes without a frame that has changed', async () => {
    const { folder, frames, parent } = await makeResult();
    appendFileSync(join(frames, 'f2.png'), 'x');
    const report = await traceRegion(folder, region);
    expect(report.sources.map(({ frame }) => frame)).toContain(2);
    expect(bestFrames(report)).toEqual([1, 3]);
    await writeContactSheet(join(parent, 'sheet.png'), folder, report);
    expect(existsSync(join(parent, 'sheet.png'))).toBe(true);
  });

  test('leaves nothing where it cannot be written', async () => {
    const { folder, parent } = await makeResult();
    const report = await traceRegion(folder, region);
    mkdirSync(join(parent, 'taken.png'));
    await expect(writeContactSheet(join(parent, 'taken.png'), folder, report)).rejects.toThrow(
      /Cannot write/,
    );
    await expect(writeContactSheet(join(parent, 'no', 'x.png'), folder, report)).rejects.toThrow(
      /Cannot write/,
    );
  });
});

test.each([
  ['', 'an empty text'],
  ['1', '1'],
  ['1,2,3', '1,2,3'],
  ['1,2,0,4', '1,2,0,4'],
  ['-1,2', '-1,2'],
  ['1.5,2', '1.5,2'],
  ['220,0', 'inside the picture of 220 x 170 pixels'],
  ['200,0,21,1', 'inside the picture of 220 x 170 pixels'],
])('the region "%s" is refused in words', (text, words) => {
  expect(() => checkPictureRegion(parsePictureRegion(text), size)).toThrow(words);
});

describe('lamella trace', () => {
  test('prints words, with a bar for every frame, or one object', async () => {
    const { folder } = await makeResult();
    const words = await runLamella('trace', folder, '41,31');
    expect(words.exitCode).toBe(0);
    expect(words.stdout).toMatch(/pixel 41,31/);
    expect(words.stdout).toMatch(/100 % {2}frame {3}[12] {2}f[12]\.png/);
    expect(words.stdout.match(/█/g)?.length).toBeGreaterThan(10);
    const { stdout } = await runLamella('trace', folder, '41,31,5,6', '--json');
    expect(JSON.parse(stdout)).toMatchObject({ schema: 'lamella-trace', region: { width: 5, height: 6 } });
  });

  test.each([
    [['41'], 2, 'Expected X,Y or X,Y,W,H'],
    [['41,31', '--crops', 'a.jpg'], 2, 'ends in .png for --crops'],
    [['41,31', '--frames-from', '/nowhere/at/all'], 3, 'is no folder'],
  ])('%j ends with %i', async (args, code, message) => {
    const { folder } = await makeResult();
    const { exitCode, stderr } = await runLamella('trace', folder, ...args);
    expect([exitCode, stderr]).toEqual([code, expect.stringContaining(message)]);
  });

  test('replaces no file with a contact sheet unless told to, and names a folder that is not there', async () => {
    const { folder, frames, parent } = await makeResult();
    const photograph = readFileSync(join(frames, 'f1.png'));
    const over = await runLamella('trace', folder, '41,31', '--crops', join(frames, 'f1.png'));
    expect([over.exitCode, over.stderr]).toEqual([4, expect.stringContaining('folder of photographs')]);
    expect(readFileSync(join(frames, 'f1.png')).equals(photograph)).toBe(true);
    const missing = await runLamella('trace', folder, '41,31', '--crops', join(parent, 'no', 'c.png'));
    expect([missing.exitCode, missing.stderr]).toEqual([
      4,
      expect.stringContaining(`the folder ${join(parent, 'no')} does not exist`),
    ]);
    const path = join(parent, 'c.png');
    expect((await runLamella('trace', folder, '41,31', '--crops', path)).exitCode).toBe(0);
    const again = await runLamella('trace', folder, '41,31', '--crops', path);
    expect([again.exitCode, again.stderr]).toEqual([4, expect.stringContaining('exists already')]);
    const told = await runLamella('trace', folder, '41,31', '--crops', path, '--overwrite');
    expect(told.exitCode).toBe(0);
    expect((await sharp(path).metadata()).format).toBe('png');
  });

  test('needs frames for --crops, and a result', async () => {
    const { folder, frames, parent } = await makeResult();
    renameSync(frames, join(parent, 'gone'));
    const crops = await runLamella('trace', folder, '41,31', '--crops', join(parent, 'c.png'));
    expect([crops.exitCode, crops.stderr]).toEqual([3, expect.stringContaining('No frame can be read')]);
    const other = await runLamella('trace', parent, '41,31');
    expect([other.exitCode, other.stderr]).toEqual([3, expect.stringContaining('is no result folder')]);
  });

  test('a frame turned by its orientation tag is read upright', async () => {
    const { folder, frames } = await makeResult();
    const [frame] = await findStackFrames(await readRunRecord(folder));
    const upright = readFileSync(join(frames, 'f1.png'));
    // Stored lying on its side, with the tag that says so (EXIF 2.32: 6 = turn clockwise to see it upright).
    const stored = await sharp(upright).rotate(270).withMetadata({ orientation: 6 }).png().toBuffer();
    const path = join(frames, 'turned.png');
    writeFileSync(path, stored);
    const window = { x: 5, y: 9, width: 12, height: 7 };
    const read = (file: string) => readFrameRegion(frame as StackFrame, file, window);
    expect((await read(path)).pixels).toEqual((await read(join(frames, 'f1.png'))).pixels);
  });
});
