import { readdirSync, readFileSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import sharp from 'sharp';
import { beforeAll, describe, expect, it } from 'vitest';
import { openReporter } from '../../src/cli/reporter.js';
import { applyMends } from '../../src/mend/apply-mends.js';
import { merge } from '../../src/mend/merge.js';
import type { MergeEvent } from '../../src/merge/merge-event.js';
import { readResult } from '../../src/result/read-result.js';
import type { RunRecord } from '../../src/result/run-record.js';
import { readStack } from '../../src/stack/read-stack.js';
import { LocalKernels } from '../../src/trace/local-kernels.js';
import { findStackFrames } from '../../src/trace/stack-frames.js';
import { traceRegion } from '../../src/trace/trace.js';
import { CheckedFrames } from '../../src/view/checked-frames.js';
import { FrameRasters } from '../../src/view/frame-rasters.js';
import { Store } from '../../src/view/store.js';
import { fakeSystem } from '../cli/fake-system.js';
import { type Files, placeStack, renderPlane } from './small-stack.js';

const factor = 2;
const options = { stepMm: 0.1, fieldWidthMm: 2.4, threads: 1 } as const;

/** The means of whole blocks of `factor` x `factor` pixels, halves up, of a picture of 8 bits, as PNG. */
async function blockMeans(file: Buffer): Promise<Buffer> {
  const { data, info } = await sharp(file).raw().toBuffer({ resolveWithObject: true });
  expect(info.channels).toBe(3);
  const [width, height] = [Math.floor(info.width / factor), Math.floor(info.height / factor)];
  const means = Uint8Array.from({ length: width * height * 3 }, (_, i) => {
    const [x, y, c] = [Math.floor(i / 3) % width, Math.floor(i / 3 / width), i % 3];
    let sum = 0;
    for (let dy = 0; dy < factor; dy++)
      for (let dx = 0; dx < factor; dx++)
        sum += data[((y * factor + dy) * info.width + x * factor + dx) * 3 + c];
    return Math.floor((sum + factor ** 2 / 2) / factor ** 2);
  });
  return sharp(means, { raw: { width, height, channels: 3 } })
    .png()
    .toBuffer();
}

describe('a preview', () => {
  let frames: string;
  let out: string;
  let record: RunRecord;
  const events: MergeEvent[] = [];
  const reducedOut = { out: '' };

  beforeAll(async () => {
    const { files } = await renderPlane({ frames: 4, width: 241, height: 182, format: 'png' });
    frames = placeStack(files).frames;
    const preview = await merge(
      frames,
      { ...options, preview: factor },
      { onEvent: (event) => events.push(event) },
    );
    out = preview.out;
    record = (await readResult(out)).record;
    const reduced: Files = {};
    for (const [name, file] of Object.entries(files)) reduced[name] = await blockMeans(file);
    reducedOut.out = (await merge(placeStack(reduced).frames, options)).out;
  });

  it('is the merge of the frames reduced by block means, pixel by pixel', async () => {
    const [ours, theirs] = [await readResult(out), await readResult(reducedOut.out)];
    expect((await ours.readComposite()).pixels).toEqual((await theirs.readComposite()).pixels);
    expect(await ours.readMaps()).toEqual(await theirs.readMaps());
    expect(record.frames.map(({ transform }) => transform)).toEqual(
      theirs.record.frames.map(({ transform }) => transform),
    );
  });

  it('stands beside the folder under a name of its own and marks every picture, record and report', () => {
    expect(out).toBe(join(dirname(frames), `${basename(frames)}-preview`));
    expect(readdirSync(out).sort()).toEqual([
      'composite-preview.tif',
      'confidence-preview.png',
      'coverage-preview.png',
      'depth-preview.png',
      'depth-preview.tif',
      'report.html',
      'run.json',
      'sources-preview.png',
    ]);
    expect(record).toMatchObject({
      preview: { factor, fileSize: { width: 241, height: 182 } },
      frameSize: { width: 120, height: 91 },
      composite: { file: 'composite-preview.tif' },
    });
    const report = readFileSync(join(out, 'report.html'), 'utf8');
    expect(report).toContain('This is a preview at half of the width and height of the photographs');
    expect(report).toContain('(preview)');
    expect(report).toContain('href="composite-preview.tif"');
  });

  it('measures lengths as the whole merge does', () => {
    expect(record.mmPerPixel).toBeCloseTo((2.4 / 241) * factor, 12);
  });

  it('is called a preview on the terminal, before and after', () => {
    const system = fakeSystem();
    const reporter = openReporter(system, { json: false, quiet: false });
    for (const event of events) reporter.onEvent(event);
    reporter.close();
    const lines = system.stderr.text.split('\n');
    expect(lines[1]).toMatch(/4 frames of 120 x 91 pixels, for a preview$/);
    expect(system.stderr.text).toContain('This is a preview at half');
    expect(events.find(({ event }) => event === 'start')).toMatchObject({ preview: { factor } });
  });

  it('is no stack of photographs, also without its record', async () => {
    await expect(readStack(out)).rejects.toThrow(/result/);
  });

  it('is traced by its reduced frames', async () => {
    const region = { x: 40, y: 30, width: 16, height: 16 };
    const { focusCurve, warnings } = await traceRegion(out, region);
    const reduced = await traceRegion(reducedOut.out, region);
    expect(warnings).toEqual([]);
    expect(focusCurve!.frames.map(({ measure }) => measure)).toEqual(
      reduced.focusCurve!.frames.map(({ measure }) => measure),
    );
  });

  it('is shown with its reduced frames, at any scale', async () => {
    const store = await Store.open();
    const kernels = await LocalKernels.start();
    const shown = async (folder: string) => {
      const rasters = new FrameRasters(store, new CheckedFrames(), kernels);
      const [frame] = await findStackFrames((await readResult(folder)).record);
      const regions = [
        { step: 1, region: { x: 8, y: 8, width: 40, height: 30 } },
        { step: 2, region: { x: 4, y: 4, width: 20, height: 15 } },
      ];
      const planes = [];
      for (const { step, region } of regions) {
        for (const isTile of [true, false]) {
          planes.push((await rasters.alignReduced(frame, region, step, isTile))!.planes);
        }
      }
      await rasters.close();
      return planes;
    };
    expect(await shown(out)).toEqual(await shown(reducedOut.out));
    await store.close();
  });

  it('can be mended, and stays marked', async () => {
    const region = { kind: 'rectangle', x: 40, y: 30, width: 16, height: 12 } as const;
    await applyMends(out, [{ id: 1, frame: 1, region, featherPx: 6, note: '', kept: true }]);
    const { record: mended } = await readResult(out);
    expect(mended.composite.file).toBe('composite-preview.tif');
    expect(readdirSync(out)).not.toContain('depth.png');
    expect(mended.preview).toEqual(record.preview);
  });

  it('refuses frames that are too small to be reduced, and names the option', async () => {
    await expect(merge(frames, { ...options, preview: 8 })).rejects.toThrow(
      /are 30 x 22 as reduced for the preview: choose a smaller preview/,
    );
  });
});
