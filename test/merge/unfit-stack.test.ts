import { spawnSync } from 'node:child_process';
import { mkdirSync, readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import sharp from 'sharp';
import { beforeAll, describe, expect, it } from 'vitest';
import { InputError, OutputError, UsageError } from '../../src/errors.js';
import { merge } from '../../src/mend/merge.js';
import type { MergeEvent } from '../../src/merge/merge-event.js';
import { readResult } from '../../src/result/read-result.js';
import { seededRandom } from '../outside/seeded-random.js';
import { type Files, frameSize, placeStack, readFiles, renderPlane } from './small-stack.js';

const program = fileURLToPath(new URL('../../bin/lamella.js', import.meta.url));
let files: Files;
/** The same with its fourth frame cut short. */
let damaged: Files;

beforeAll(async () => {
  ({ files } = await renderPlane({ format: 'jpg' }));
  damaged = { ...files, '0004.jpg': files['0004.jpg'].subarray(0, files['0004.jpg'].length >> 1) };
});

/** Four PNG frames whose samples `sample` gives. */
async function frames(sample: () => number): Promise<Files> {
  const made: Files = {};
  for (const name of ['1.png', '2.png', '3.png', '4.png']) {
    const pixels = Uint8Array.from({ length: frameSize.width * frameSize.height * 3 }, sample);
    made[name] = await sharp(pixels, { raw: { ...frameSize, channels: 3 } })
      .png()
      .toBuffer();
  }
  return made;
}

/** The program itself; never a stack trace. */
function run(...args: string[]) {
  const { status, stdout, stderr } = spawnSync(process.execPath, [program, 'merge', ...args], {
    encoding: 'utf8',
  });
  expect(stderr).not.toMatch(/\n\s+at /);
  return { status, stdout, stderr };
}

describe('a stack that cannot be merged', () => {
  const random = seededRandom(5);
  it.each<[string, () => Promise<Record<string, Buffer | string>>, RegExp]>([
    ['an empty folder', async () => ({}), /frames" holds no files: give a folder/],
    [
      'one frame',
      async () => ({ '0001.jpg': files['0001.jpg'] }),
      /only one photograph .*0001\.jpg.* at least 2/,
    ],
    ['a text called .jpg', async () => ({ 'notes.jpg': 'A day at the pond.\n' }), /notes\.jpg is no picture/],
    ['black frames', () => frames(() => 0), /^Nothing in these frames is ever sharp/],
    ['noise', () => frames(() => Math.floor(random() * 256)), /have nothing in common/],
    [
      'one picture again and again',
      async () => ({ 'a.jpg': files['0004.jpg'], 'b.jpg': files['0004.jpg'], 'c.jpg': files['0004.jpg'] }),
      /all show the same picture/,
    ],
  ])('%s: an InputError that says so, and nothing is left', async (_, make, message) => {
    const place = placeStack(await make());
    const failure = await merge(place.frames, { out: place.out, threads: 2 }).catch((error) => error);
    expect(failure).toBeInstanceOf(InputError);
    expect(failure.message).toMatch(message);
    expect(readdirSync(place.parent)).toEqual(['frames']);
  });

  it('makes the program end with 3', () => {
    const { frames: folder, out, parent } = placeStack({});
    const { status, stdout, stderr } = run(folder, '--out', out);
    expect([status, stdout]).toEqual([3, '']);
    expect(stderr).toMatch(/^lamella: The folder .* holds no files/m);
    expect(readdirSync(parent)).toEqual(['frames']);
  });
});

describe('an anchor that is not there', () => {
  it('is a UsageError before any frame is read', async () => {
    const place = placeStack(files);
    const stages: string[] = [];
    const onEvent = (event: MergeEvent) => void (event.event === 'stage' && stages.push(event.stage));
    const failure = await merge(place.frames, { out: place.out, anchor: 99 }, { onEvent }).catch(
      (error) => error,
    );
    expect(failure).toBeInstanceOf(UsageError);
    expect(failure.message).toBe('Expected a frame that is in use, of 1 to 7, for anchor but received 99');
    expect(stages).toEqual(['list']);
  });
});

describe('positions', () => {
  it.each([
    [6, 7],
    [8, 7],
  ])(
    'for %i of %i photographs are refused: all behind the one that is missing would be wrong',
    async (count, all) => {
      const place = placeStack(files);
      const positionsMm = Array.from({ length: count }, (_, i) => i / 20);
      await expect(merge(place.frames, { out: place.out, positionsMm })).rejects.toThrow(
        `Expected a position for each of the ${all} photographs in "${place.frames}" for positionsMm but received ${count}`,
      );
      expect(readdirSync(place.parent)).toEqual(['frames']);
    },
  );
});

describe('a frame that has nothing in common with the others', () => {
  it('is named in a warning that says it is left out', async () => {
    const foreign = await sharp(files['0003.jpg']).rotate(180).jpeg().toBuffer();
    const { frames: folder, out } = placeStack({ ...files, '0003.jpg': foreign });
    const { warnings } = await merge(folder, { out, threads: 2 });
    expect(warnings).toEqual([
      '0003.jpg (frame 3) is left out: it cannot be aligned, for it has too little in common with its neighbours.',
    ]);
  });
});

describe('a frame that repeats the one before', () => {
  it('is named in a warning', async () => {
    const { frames: folder, out } = placeStack({ ...files, '0004b.jpg': files['0004.jpg'] });
    const { warnings } = await merge(folder, { out, threads: 2 });
    expect(warnings).toEqual([
      expect.stringMatching(/^The same picture as in the frame before it is in: 0004b\.jpg \(frame 5\)\./),
    ]);
  });
});

describe('a JPEG cut short in the middle', () => {
  it('is left out with a warning that names it', async () => {
    const { frames: folder, out } = placeStack(damaged);
    const { warnings } = await merge(folder, { out, threads: 2 });
    expect(warnings).toEqual([expect.stringMatching(/^0004\.jpg .*left out/)]);
    const { record, readSources } = await readResult(out);
    expect(record.warnings).toEqual(warnings);
    expect(record.frames.map(({ used }) => used)).toEqual([true, true, true, false, true, true, true]);
    expect(record.frames[3]).toMatchObject({ number: 4, name: '0004.jpg', transform: null, sharePercent: 0 });
    expect(record.frames[3].leftOutReason).toMatch(/damaged/);
    const named = new Set(await readSources());
    expect(named.has(4)).toBe(false);
    expect(named.has(3) && named.has(5)).toBe(true);
  });

  it('is an error when strict, and makes the program end with 3', async () => {
    const { frames: folder, out, parent } = placeStack(damaged);
    const failure = await merge(folder, { out, threads: 2, strict: true }).catch((error) => error);
    expect(failure).toBeInstanceOf(InputError);
    expect(failure.message).toMatch(/^0004\.jpg /);
    const { status, stderr } = run(folder, '--out', out, '--strict');
    expect(status).toBe(3);
    expect(stderr).toMatch(/^lamella: 0004\.jpg /m);
    expect(readdirSync(parent)).toEqual(['frames']);
  });
});

describe('the place of the result', () => {
  it('inside the folder of frames is never read as frames, the first time and the second', async () => {
    const { frames: folder } = placeStack(files);
    const out = join(folder, 'merged');
    const { notes } = await merge(folder, { out, threads: 2 });
    const again = await merge(folder, { out, threads: 2, overwrite: true });
    expect(again.notes).toEqual(notes);
    expect(again.warnings).toEqual([]);
    expect((await readResult(out)).record.frames.map(({ name }) => name)).toEqual(Object.keys(files));
    expect(readdirSync(folder).sort()).toEqual([...Object.keys(files), 'merged']);
  });

  it('that holds a result is refused with 4, and replaced as a whole when told to', () => {
    const { frames: folder, out, parent } = placeStack(files);
    const first = run(folder, '--out', out, '--threads', '1');
    expect([first.status, first.stdout.trim()]).toEqual([0, out]);
    writeFileSync(join(out, 'added.txt'), 'by hand');
    const before = readFiles(out);

    const refused = run(folder, '--out', out);
    expect(refused.status).toBe(4);
    expect(refused.stderr).toMatch(/already holds a result.*--overwrite/);
    expect(readFiles(out)).toEqual(before);

    expect(run(folder, '--out', out, '--format', 'png', '--overwrite').status).toBe(0);
    expect(readdirSync(out)).toContain('composite.png');
    expect(readdirSync(out)).not.toContain('composite.tif');
    expect(readdirSync(out)).not.toContain('added.txt');
    expect(readdirSync(parent).sort()).toEqual(['frames', 'merged']);
  });

  it('that holds something else is left alone even with overwrite', async () => {
    const { frames: folder, out } = placeStack(files);
    mkdirSync(out);
    writeFileSync(join(out, 'diary.txt'), 'mine');
    const failure = await merge(folder, { out, overwrite: true }).catch((error) => error);
    expect(failure).toBeInstanceOf(OutputError);
    expect(readdirSync(out)).toEqual(['diary.txt']);
  });
});
