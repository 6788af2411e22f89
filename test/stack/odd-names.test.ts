import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { beforeAll, describe, expect, it } from 'vitest';
import { check } from '../../src/check/check.js';
import { merge } from '../../src/mend/merge.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { decodeFrame } from '../../src/stack/decode.js';
import { readIcc } from '../../src/stack/exif.js';
import { readStack } from '../../src/stack/read-stack.js';
import { traceRegion } from '../../src/trace/trace.js';
import { placeStack, renderPlane } from '../merge/small-stack.js';
import { makeFolder } from './pictures.js';

let frames: Buffer[];
beforeAll(async () => {
  const { files } = await renderPlane({ frames: 4, format: 'jpg' });
  frames = Object.values(files);
});

describe.runIf(process.platform === 'linux')('file names that end in brackets', () => {
  const names = ['a.jpg[page=3]', 'b.jpg[shrink=2]', 'c[x].jpg', 'd.jpg[]'];

  it('are names, and no options of the image library', async () => {
    const odd = placeStack(Object.fromEntries(names.map((name, i) => [name, frames[i]])));
    const plain = placeStack(Object.fromEntries(names.map((_, i) => [`${'abcd'[i]}.jpg`, frames[i]])));
    const results = [];
    for (const { frames: folder, out } of [odd, plain]) {
      await merge(folder, { out, threads: 1, format: 'png' });
      results.push(readFileSync(join(out, 'composite.png')));
    }
    expect(results[0].equals(results[1])).toBe(true);
    expect((await readRunRecord(odd.out)).frames.map(({ name }) => name)).toEqual(names);
    const reports = await Promise.all([odd, plain].map(({ frames: folder }) => check(folder)));
    expect(reports[0].coverage).toEqual(reports[1].coverage);
    const region = { x: 20, y: 20, width: 30, height: 30 };
    const [traced, alike] = await Promise.all([odd, plain].map(({ out }) => traceRegion(out, region)));
    expect(traced.warnings).toEqual([]);
    const measuresOf = (report: typeof traced) => report.focusCurve?.frames.map(({ measure }) => measure);
    expect(measuresOf(traced)).toEqual(measuresOf(alike));
    expect(measuresOf(traced)).not.toContain(null);
  });

  it('do not lead to a file of the name before the brackets', async () => {
    const folder = join(makeFolder(), 'frames');
    mkdirSync(folder);
    const plain = (tone: number) =>
      sharp({ create: { width: 64, height: 64, channels: 3, background: { r: tone, g: tone, b: tone } } });
    writeFileSync(join(folder, 'a.png'), await plain(20).png().toBuffer());
    writeFileSync(join(folder, 'a.png[page=3]'), await plain(200).withIccProfile('p3').png().toBuffer());
    const stack = await readStack(folder);
    const odd = stack.frames.find(({ name }) => name.endsWith(']'))!;
    expect((await decodeFrame(odd)).pixels[0]).toBe(200);
    expect(await readIcc(odd)).toBeDefined();
  });
});

// Other file systems keep names as text and refuse such bytes.
describe.runIf(process.platform === 'linux')('a file name that is not UTF-8', () => {
  const place = (named: number) => {
    const { frames: folder } = placeStack(
      Object.fromEntries(frames.slice(0, frames.length - named).map((frame, i) => [`${i}.jpg`, frame])),
    );
    // Latin-1 for "Käfer".
    for (let i = frames.length - named; i < frames.length; i++) {
      writeFileSync(Buffer.from(`${folder}/K\xe4fer${i}.jpg`, 'latin1'), frames[i]);
    }
    return folder;
  };

  it('is named as such where the frame is left out', async () => {
    const { warnings } = await readStack(place(1));
    expect(warnings.map(({ kind, message }) => [kind, message])).toEqual([
      ['lost', 'K\ufffdfer3.jpg is left out: it cannot be read: its name is not UTF-8 text: rename it.'],
    ]);
  });

  it('is named as such where it leaves no stack', async () => {
    await expect(readStack(place(4))).rejects.toThrow(/its name is not UTF-8 text: rename it/);
    await expect(readStack('/tmp/K\ufffdfer')).rejects.toThrow(/its name is not UTF-8 text/);
  });
});
