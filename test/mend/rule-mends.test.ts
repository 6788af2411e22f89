import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, expect, test } from 'vitest';
import { applyMends } from '../../src/mend/apply-mends.js';
import type { Mend } from '../../src/mend/mends-file.js';
import { merge } from '../../src/mend/merge.js';
import { mergeWindow } from '../../src/mend/merge-region.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { runLamella } from '../cli/fake-system.js';
import { type Files, frameSize, placeStack, renderPlane } from '../merge/small-stack.js';
import { readSamples } from './made-result.js';

const { width, height } = frameSize;
let files: Files;
beforeAll(async () => {
  ({ files } = await renderPlane());
});

const stroke: Mend = {
  id: 1,
  frame: 0,
  rule: 'weigh',
  region: {
    kind: 'stroke',
    points: [
      [60, 50],
      [120, 90],
      [180, 130],
    ],
    widthPx: 30,
  },
  featherPx: 8,
  note: '',
  kept: true,
};

async function mergedBy(rule: 'auto' | 'select' | 'weigh') {
  const { frames, out } = placeStack(files);
  await merge(frames, { out, rule, crop: 'anchor', stepMm: 0.1, threads: 2 });
  return out;
}

const picture = (out: string) => readSamples(join(out, 'composite.tif'), 8, 3);

/** Pixels within half the width of the stroke's line, which is straight. */
function isInside(i: number): boolean {
  const [x, y] = [i % width, Math.floor(i / width)];
  const along = Math.max(0, Math.min(1, ((x - 60) * 120 + (y - 50) * 80) / (120 ** 2 + 80 ** 2)));
  return Math.hypot(x - 60 - along * 120, y - 50 - along * 80) <= 15;
}

test('a region taken by another rule is what a whole merge by that rule shows there, with its depth and sources', async () => {
  const [select, weigh] = [await mergedBy('select'), await mergedBy('weigh')];
  // So small a picture is merged as a whole for the region: nothing is left to tell them apart.
  expect(mergeWindow(stroke, frameSize)).toEqual({ x: 0, y: 0, width, height });
  const before = await picture(select);
  const read: number[] = [];
  await applyMends(select, [stroke], {
    onRead: (done, frames) => read.push(done, frames),
  });
  const { frames: merged } = await readRunRecord(select);
  // It is told of each frame.
  expect(read).toEqual(merged.flatMap((_, k) => [k + 1, merged.length]));
  const after = await picture(select);
  const wanted = await picture(weigh);
  const maps = async (name: string, bits: 16 | 32) => [
    await readSamples(join(select, name), bits, 1),
    await readSamples(join(weigh, name), bits, 1),
  ];
  const [depth, wantedDepth] = await maps('depth.tif', 32);
  const [sources, wantedSources] = await maps('sources.png', 16);
  let changed = 0;
  for (let i = 0; i < width * height; i++) {
    if (!isInside(i)) continue;
    for (let channel = 0; channel < 3; channel++) {
      expect(after[3 * i + channel]).toBe(wanted[3 * i + channel]);
      if (after[3 * i + channel] !== before[3 * i + channel]) changed++;
    }
    expect(sources[i]).toBe(wantedSources[i]);
    expect(Math.abs(depth[i] - wantedDepth[i])).toBeLessThan(1e-6);
  }
  // The rules differ here, or this would prove nothing.
  expect(changed).toBeGreaterThan(500);
  const { notes, frames } = await readRunRecord(select);
  expect(notes.at(-1)).toContain('1 region was mended by hand by the rule weigh;');
  expect(frames.reduce((sum, { sharePercent }) => sum + sharePercent, 0)).toBeCloseTo(100, 6);
});

test("a mend by the result's own rule takes back what mends before it did, and no more", async () => {
  const out = await mergedBy('auto');
  const names = ['composite.tif', 'depth.tif', 'sources.png', 'confidence.png', 'coverage.png'];
  const bytes = () => names.map((name) => readFileSync(join(out, name)).toString('base64'));
  const merged = bytes();
  const region = { kind: 'rectangle', x: 90, y: 60, width: 50, height: 40 } as const;
  const one: Mend = { ...stroke, region, rule: undefined, frame: 1 };
  await applyMends(out, [one]);
  expect(bytes()).not.toEqual(merged);
  const back: Mend = {
    ...stroke,
    id: 2,
    rule: 'auto',
    region: { kind: 'rectangle', x: 70, y: 40, width: 90, height: 80 },
  };
  await applyMends(out, [one, back]);
  expect(bytes()).toEqual(merged);
});

test('a mend by a rule needs every photograph, and names the one that is gone', async () => {
  const { frames, out } = placeStack(files);
  await merge(frames, { out, crop: 'anchor', threads: 2 });
  const before = readFileSync(join(out, 'run.json'));
  const { rmSync } = await import('node:fs');
  const gone = Object.keys(files)[4];
  rmSync(join(frames, gone));
  const { exitCode, stderr } = await runLamella(
    'mend',
    out,
    ...['--add', 'rule=select', '--along', '60,50 90,80', '--width', '9'],
  );
  expect(stderr).toContain(gone);
  expect(exitCode).toBe(3);
  expect(readFileSync(join(out, 'run.json')).equals(before)).toBe(true);
});
