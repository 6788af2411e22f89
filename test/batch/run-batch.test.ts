import {
  appendFileSync,
  chmodSync,
  existsSync,
  mkdirSync,
  readFileSync,
  rmSync,
  statSync,
  utimesSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { beforeAll, describe, expect, it } from 'vitest';
import type { BatchEvent } from '../../src/batch/batch-events.js';
import { readNightList } from '../../src/batch/night-list.js';
import { dryRun } from '../../src/batch/run-batch.js';
import type { StartStack } from '../../src/batch/stack-job.js';
import { startStackProcess } from '../../src/batch/stack-process.js';
import { applyMends } from '../../src/mend/apply-mends.js';
import { undoMends } from '../../src/mend/undo-mends.js';
import { resolveOptions } from '../../src/options/resolve-merge-options.js';
import { makeFolder } from '../stack/pictures.js';
import { batchHere, startHere, startStandIn } from './in-process.js';
import { runBatchProgram } from './program.js';
import { copyTree, namesIn, placeFrames, renderTiny } from './tiny-stacks.js';

let frames: Record<string, Buffer>;
beforeAll(async () => {
  frames = await renderTiny();
});

/** A root with one stack a name, and the place of its results. */
function placeRoot(...names: string[]): { root: string; out: string } {
  const parent = makeFolder();
  const root = join(parent, 'week');
  for (const [i, name] of names.entries()) placeFrames(join(root, name), frames, 1 + (i % 2));
  return { root, out: join(parent, 'out') };
}

describe('a batch that is run again', () => {
  it('skips what is finished, and merges again only what changed in files or options', async () => {
    const { root, out } = placeRoot('ant', 'bee', 'wasp');
    const frame = join(root, 'ant', '0001.jpg');
    expect((await batchHere(root, { out })).begun).toEqual(['ant', 'bee', 'wasp']);
    expect((await batchHere(root, { out })).begun).toEqual([]);

    // Only facts that make no difference.
    chmodSync(frame, 0o640);
    expect((await batchHere(root, { out })).begun).toEqual([]);

    // Another content under the old size and time.
    const { mtime } = statSync(frame);
    const bytes = readFileSync(frame);
    bytes[bytes.length - 3] ^= 1;
    writeFileSync(frame, bytes);
    utimesSync(frame, mtime, mtime);
    expect((await batchHere(root, { out })).begun).toEqual(['ant']);

    utimesSync(join(root, 'wasp', '0002.jpg'), new Date(), new Date());
    writeFileSync(join(root, 'bee', 'lamella.json'), '{ "format": "png" }');
    expect((await batchHere(root, { out })).begun).toEqual(['bee', 'wasp']);
    expect(existsSync(join(out, 'bee', 'composite.png'))).toBe(true);
    expect((await batchHere(root, { out, merge: { rule: 'select' } })).begun).toEqual(['ant', 'bee', 'wasp']);

    rmSync(join(out, 'wasp'), { recursive: true });
    rmSync(join(root, 'ant', '0003.jpg'));
    const last = await batchHere(root, { out, merge: { rule: 'select' } });
    expect([last.begun, last.finished]).toEqual([['wasp'], 1]);
  });

  it('does everything again when the night list is lost, but leaves results that it does not know', async () => {
    const { root, out } = placeRoot('ant');
    await batchHere(root, { out });
    writeFileSync(join(out, 'night-list.jsonl'), 'torn');
    const lost = await batchHere(root, { out });
    expect([lost.failed, lost.reasonOf('failed', 'ant')]).toEqual([
      1,
      expect.stringContaining('already holds a result that this batch did not write. Add overwrite'),
    ]);
    const again = await batchHere(root, { out, merge: { overwrite: true } });
    expect([again.state, again.begun]).toEqual(['done', ['ant']]);
  });
});

describe('stacks that are chosen', () => {
  it('are merged alone and in their order; the others, and what they left, stay as they are', async () => {
    const { root, out } = placeRoot('ant', 'bee', 'wasp');
    const first = await batchHere(root, { out, only: ['wasp', './bee/', 'fly'] });
    expect([first.begun, first.done, first.failed]).toEqual([['wasp', 'bee'], 2, 1]);
    expect(first.reasonOf('failed', 'fly')).toContain(`There is no stack in ${join(root, 'fly')}`);
    expect(namesIn(out)).not.toContain('ant');
    const second = await batchHere(root, { out, only: ['ant', 'bee'] });
    expect([second.begun, second.finished]).toEqual([['ant'], 1]);
    const page = readFileSync(join(out, 'index.html'), 'utf8');
    for (const name of ['ant', 'bee', 'wasp']) expect(page).toContain(`href="${name}/report.html"`);
    const all = await batchHere(root, { out });
    expect([all.begun, all.finished]).toEqual([[], 3]);
  });
});

describe('a stack that fails', () => {
  it('is recorded with its reason, the batch goes on, and --retry runs it alone', async () => {
    const { root, out } = placeRoot('ant', 'bee', 'wasp');
    for (const name of namesIn(join(root, 'bee'))) writeFileSync(join(root, 'bee', name), 'no picture');
    writeFileSync(join(root, 'wasp', 'lamella.json'), '{ "stepp": 1 }');
    const told = await batchHere(root, { out });
    expect([told.state, told.done, told.failed]).toEqual(['done', 1, 2]);
    expect(told.reasonOf('failed', 'bee')).toContain('holds no photograph that can be used');
    expect(told.reasonOf('failed', 'wasp')).toMatch(
      /wasp.lamella\.json: expected only the keys .* but received "stepp"/,
    );
    const page = readFileSync(join(out, 'index.html'), 'utf8');
    expect(page.indexOf('holds no photograph')).toBeLessThan(page.indexOf('ant/report.html'));
    expect(readFileSync(join(out, 'night.log'), 'utf8')).toMatch(
      /^\d{4}-\d\d-\d\d \d\d:\d\d:\d\d {2}bee: FAILED: /m,
    );

    rmSync(join(root, 'wasp', 'lamella.json'));
    const retried = await batchHere(root, { out, retry: true });
    expect([retried.begun, retried.done, retried.failed]).toEqual([['bee', 'wasp'], 1, 1]);
  });

  it('by a corrupt frame is merged without it, unless all frames are wanted', async () => {
    const { root, out } = placeRoot('ant', 'bee');
    const cut = Object.values(frames)[3].subarray(0, 1500);
    for (const name of ['ant', 'bee']) writeFileSync(join(root, name, '0004.jpg'), cut);
    writeFileSync(join(root, 'bee', 'lamella.json'), '{ "strict": true }');
    const told = await batchHere(root, { out });
    const done = (await readNightList(out))?.find((event) => event.event === 'done');
    expect(done).toMatchObject({ stack: 'ant', frames: 4, framesUsed: 3 });
    expect(done?.event === 'done' && done.warnings.join()).toContain('0004.jpg');
    expect(told.reasonOf('failed', 'bee')).toContain('0004.jpg');
    expect(namesIn(out)).not.toContain('bee');
  });

  it.skipIf(process.platform === 'win32')(
    'because its folder cannot be read is told, and the others are merged',
    async () => {
      const { root, out } = placeRoot('ant', 'bee');
      chmodSync(join(root, 'bee'), 0);
      try {
        // Permissions do not hold for root, so the program runs as nobody then.
        const isRoot = process.getuid?.() === 0;
        if (isRoot) for (const folder of [join(root, '..'), root]) chmodSync(folder, 0o777);
        const args = [root, '--out', out, '--threads', '1'];
        const { code, stderr } = await runBatchProgram(args, isRoot ? { uid: 65_534 } : {});
        expect(stderr).toContain('bee: FAILED: The folder');
        expect(stderr).toContain('permission to read it is denied');
        expect(stderr).toMatch(/ant: (done|merged, but look)/);
        expect(code).toBe(1);
      } finally {
        chmodSync(join(root, 'bee'), 0o755);
      }
    },
  );

  it('by the end of its process is told from one that failed by itself', async () => {
    const { root, out } = placeRoot('ant');
    const job = {
      ...{ folder: join(root, 'ant'), out: join(out, 'ant'), files: [], wholeFolder: false, nice: 5 },
      options: resolveOptions({ threads: 1 }),
    };
    const greedy = startStackProcess({ ...job, memoryLimitMb: 20 }, () => {});
    expect(await greedy.ended).toMatchObject({
      state: 'failed',
      kind: 'memory',
      reason: expect.stringMatching(/^It took \d+ MB of memory, more than the 20 MB it may/),
    });
    const crashing = startStackProcess(job, () => process.kill(crashing.pid!, 'SIGSEGV'));
    expect(await crashing.ended).toEqual({
      state: 'failed',
      kind: 'crash',
      reason: 'Its process died of SIGSEGV before it was done',
    });
  });
});

describe('a stack that changes while it is read', () => {
  /** Merges `bee` with something happening once its frames are being aligned. */
  const disturbed =
    (disturb: () => void): StartStack =>
    (job, onEvent) =>
      startHere(job, (event) => {
        if (event.event === 'stage' && event.stage === 'focus' && job.folder.endsWith('bee')) disturb();
        onEvent(event);
      });

  it.each([
    [
      'a frame is written anew',
      (folder: string) => writeFileSync(join(folder, '0002.jpg'), frames['0005.jpg']),
    ],
    ['a frame goes', (folder: string) => rmSync(join(folder, '0002.jpg'))],
    ['a frame comes', (folder: string) => writeFileSync(join(folder, '0005.jpg'), frames['0005.jpg'])],
  ])('(%s) leaves no result of both states, and is tried once more at the end', async (_what, change) => {
    const { root, out } = placeRoot('ant', 'bee', 'wasp');
    placeFrames(join(root, 'bee'), frames, 1, 4);
    let times = 0;
    const told = await batchHere(
      root,
      { out },
      {
        startStack: disturbed(() => {
          if (times++ === 0) change(join(root, 'bee'));
        }),
      },
    );
    expect(told.begun).toEqual(['ant', 'bee', 'wasp', 'bee']);
    expect(told.reasonOf('failed', 'bee')).toMatch(/^The stack changed while it was read: 000\d\.jpg\./);
    expect([told.done, told.failed]).toEqual([3, 0]);
    expect((await batchHere(root, { out })).begun).toEqual([]);
  });

  it('all the time fails, without a result', async () => {
    const { root, out } = placeRoot('bee', 'wasp');
    const told = await batchHere(
      root,
      { out },
      {
        startStack: disturbed(() => appendFileSync(join(root, 'bee', '0002.jpg'), 'x')),
      },
    );
    expect([told.done, told.failed, told.begun]).toEqual([1, 1, ['bee', 'wasp', 'bee']]);
    expect(namesIn(out)).not.toContain('bee');
    expect(namesIn(out).filter((name) => name.startsWith('.'))).toEqual([]);
  });
});

describe('resources', () => {
  it('nothing is started that by its estimate would not end in time', async () => {
    const { root, out } = placeRoot('ant', 'bee');
    const evening = new Date(2026, 10, 25, 22, 0, 0);
    let spentMs = 0;
    const told = await batchHere(
      root,
      { out, until: '22:01' },
      {
        now: () => new Date(evening.getTime() + spentMs),
        startStack: (job, onEvent) => {
          spentMs += 59_500;
          return startStandIn(job, onEvent);
        },
      },
    );
    expect([told.state, told.begun, told.done, told.putOff]).toEqual(['until', ['ant'], 1, 1]);
    expect(told.reasonOf('put-off', 'bee')).toContain('past until');
    expect((await batchHere(root, { out }, { startStack: startStandIn })).begun).toEqual(['bee']);
  });

  it('small stacks run two side by side when there are threads for both, and never more', async () => {
    const { root, out } = placeRoot('ant', 'bee', 'gnat', 'moth', 'wasp');
    let running = 0;
    let most = 0;
    const told = await batchHere(
      root,
      { out, merge: { threads: 2 } },
      {
        startStack: (job, onEvent) => {
          expect(job.options.threads).toBe(1);
          most = Math.max(most, ++running);
          const run = startStandIn(job, onEvent);
          return { ...run, ended: run.ended.finally(() => running--) };
        },
      },
    );
    expect([told.done, most]).toEqual([5, 2]);
  });

  it('a dry run writes nothing and tells stacks, frames, sizes, time and disk', async () => {
    const { root, out } = placeRoot('ant', 'bee');
    const before = namesIn(join(root, '..'));
    const { plan } = await dryRun(root, { out });
    expect(
      plan.tasks.map(({ planned, diskBytes }) => [
        planned.stack,
        planned.frames,
        planned.size,
        diskBytes > 0,
      ]),
    ).toEqual([
      ['ant', 3, { width: 96, height: 64 }, true],
      ['bee', 3, { width: 96, height: 64 }, true],
    ]);
    expect(plan.tasks.every(({ estimateMs }) => estimateMs > 0)).toBe(true);
    expect(namesIn(join(root, '..'))).toEqual(before);
    expect((await batchHere(root, { out })).done).toBe(2);
    expect((await dryRun(root, { out })).plan).toMatchObject({
      tasks: [],
      finished: [{ stack: 'ant' }, { stack: 'bee' }],
    });
  });

  it('a disk bound estimated for a result is not exceeded by it', async () => {
    const { root, out } = placeRoot('ant');
    const { plan } = await dryRun(root, { out });
    await batchHere(root, { out });
    const bytes = namesIn(join(out, 'ant')).reduce(
      (sum, name) => sum + statSync(join(out, 'ant', name)).size,
      0,
    );
    expect(bytes).toBeLessThan(plan.tasks[0].diskBytes);
  });
});

describe('watching', () => {
  it('takes up what is there, what comes, and what changed, each when it has settled', async () => {
    const { root, out } = placeRoot('ant');
    const stop = new AbortController();
    const done: string[] = [];
    const onEvent = (event: BatchEvent): void => {
      if (event.event !== 'done') return;
      done.push(event.stack);
      if (done.length === 1) placeFrames(join(root, 'bee'), frames, 1, 4);
      if (done.length === 2) writeFileSync(join(root, 'ant', '0004.jpg'), frames['0004.jpg']);
      if (done.length === 3) stop.abort();
    };
    const told = await batchHere(root, { out, watch: true, settleS: 1 }, { onEvent, signal: stop.signal });
    expect([told.state, done]).toEqual(['interrupted', ['ant', 'bee', 'ant']]);
    expect((await batchHere(root, { out })).begun).toEqual([]);
  });
});

describe('the place of the results', () => {
  it('is never a folder of something else, nor around the photographs', async () => {
    const { root } = placeRoot('ant');
    const other = makeFolder({ 'index.html': 'mine' });
    await expect(batchHere(root, { out: other })).rejects.toThrow('is not empty and is no folder of a batch');
    expect(namesIn(other)).toEqual(['index.html']);
    await expect(batchHere(root, { out: join(root, '..') })).rejects.toThrow('the photographs lie in it');
  });

  it('is never in a result', async () => {
    const { root } = placeRoot('ant');
    const result = makeFolder({ 'run.json': '{"lamella": 1}' });
    await expect(batchHere(root, { out: join(result, 'batch') })).rejects.toThrow(
      'lies in the result folder',
    );
    expect(namesIn(result)).toEqual(['run.json']);
  });

  it('is not made when there is nothing to search', async () => {
    const parent = makeFolder();
    await expect(batchHere(join(parent, 'week'))).rejects.toThrow('it does not exist');
    expect(namesIn(parent)).toEqual([]);
  });

  it('may lie among the photographs, and is not searched then', async () => {
    const { root } = placeRoot('ant');
    const out = join(root, 'merged');
    expect((await batchHere(root, { out }, { startStack: startStandIn })).done).toBe(1);
    copyTree(join(root, 'ant'), join(out, 'copy'));
    expect((await batchHere(root, { out }, { startStack: startStandIn })).begun).toEqual([]);
  });
});

describe('parts of a folder', () => {
  it('are merged as stacks of their own, with the frame numbers of the folder', async () => {
    const { root, out } = placeRoot();
    const card = join(root, 'card');
    mkdirSync(card, { recursive: true });
    for (const [minute, letter] of ['a', 'b'].entries()) {
      for (const [second, file] of Object.values(frames).slice(0, 3).entries()) {
        const taken = `2026:11:25 12:0${minute}:0${second}`;
        const dated = sharp(file).withExif({ IFD2: { DateTimeOriginal: taken } });
        await dated.jpeg({ quality: 95 }).toFile(join(card, `${letter}${second + 1}.jpg`));
      }
    }
    const told = await batchHere(root, { out, split: true });
    expect([told.begun, told.done]).toEqual([['card@a1', 'card@b1'], 2]);
    expect(told.events.find((event) => event.event === 'parting')?.message).toContain(
      '2 stacks, parted at pauses',
    );
    const record = JSON.parse(readFileSync(join(out, 'card@b1', 'run.json'), 'utf8'));
    expect(record.frames.map(({ number, name }: { number: number; name: string }) => [number, name])).toEqual(
      [
        [4, 'b1.jpg'],
        [5, 'b2.jpg'],
        [6, 'b3.jpg'],
      ],
    );
    expect((await batchHere(root, { out, split: true })).begun).toEqual([]);
  });
});

describe('a result', () => {
  const path = (out: string, file: string): string => join(out, 'ant', file);

  it.each([
    ['its composite is gone', 'composite.tif', 'composite.tif is missing', 0],
    ['its composite is cut', 'composite.tif', 'composite.tif is cut short or damaged', 0.5],
    ['one of its maps is cut', 'sources.png', 'sources.png is cut short or damaged', 0.9],
    ['its record is cut', 'run.json', 'run.json is missing or damaged', 0.5],
  ])('of which %s is merged again, and that is said', async (_what, file, message, share) => {
    const { root, out } = placeRoot('ant', 'bee');
    await batchHere(root, { out });
    const whole = readFileSync(path(out, file));
    if (share === 0) rmSync(path(out, file));
    else writeFileSync(path(out, file), whole.subarray(0, whole.length * share));
    const again = await batchHere(root, { out });
    expect([again.begun, again.done, again.finished, again.failed]).toEqual([['ant'], 1, 1, 0]);
    const notices = again.events.flatMap((event) => (event.event === 'notice' ? [event.message] : []));
    expect(notices).toEqual([expect.stringMatching(`^ant is merged again, because .*${message}`)]);
    if (file !== 'run.json') expect(readFileSync(path(out, file))).toEqual(whole);
    expect((await batchHere(root, { out })).begun).toEqual([]);
  });

  it('that was retouched, or copied, counts as before: it is whole', async () => {
    const { root, out } = placeRoot('ant');
    await batchHere(root, { out });
    utimesSync(path(out, 'depth.tif'), new Date(), new Date());
    const negative = await sharp(path(out, 'composite.tif')).negate().tiff({ compression: 'lzw' }).toBuffer();
    writeFileSync(path(out, 'composite.tif'), negative);
    expect((await batchHere(root, { out })).begun).toEqual([]);
    expect(readFileSync(path(out, 'composite.tif'))).toEqual(negative);
  });

  it('that was mended counts as before, and so does one of which the mends were taken back', async () => {
    const { root, out } = placeRoot('ant');
    await batchHere(root, { out });
    const region = { kind: 'rectangle', x: 20, y: 16, width: 24, height: 16 } as const;
    await applyMends(join(out, 'ant'), [{ id: 1, frame: 2, region, featherPx: 4, note: '', kept: true }]);
    expect((await batchHere(root, { out })).begun).toEqual([]);
    await undoMends(join(out, 'ant'));
    expect((await batchHere(root, { out })).begun).toEqual([]);
  });

  it('that another merge put in its place is left alone', async () => {
    const { root, out } = placeRoot('ant');
    await batchHere(root, { out });
    const record = JSON.parse(readFileSync(path(out, 'run.json'), 'utf8'));
    writeFileSync(
      path(out, 'run.json'),
      JSON.stringify({ ...record, startedAt: '2031-05-06T07:08:09.000Z' }),
    );
    const again = await batchHere(root, { out });
    expect(again.reasonOf('failed', 'ant')).toContain('already holds a result that this batch did not write');
    expect((await batchHere(root, { out, merge: { overwrite: true } })).begun).toEqual(['ant']);
  });

  it.each([
    ['is not there', (out: string) => rmSync(out, { recursive: true }), 'does not exist'],
    ['lacks a file', (out: string) => rmSync(join(out, 'depth.tif')), 'depth.tif is missing'],
    ['has another file', (out: string) => appendFileSync(join(out, 'depth.png'), 'x'), 'is not the file'],
    [
      'has other frames',
      (out: string) => {
        const record = JSON.parse(readFileSync(join(out, 'run.json'), 'utf8'));
        writeFileSync(join(out, 'run.json'), JSON.stringify({ ...record, frames: record.frames.slice(1) }));
      },
      'has other frames than were reported',
    ],
  ])('that is reported as good and %s is a failure', async (_what, harm, message) => {
    const { root, out } = placeRoot('ant');
    const told = await batchHere(
      root,
      { out },
      {
        startStack: (job, onEvent) => {
          const run = startStandIn(job, onEvent);
          const ended = run.ended.then((end) => {
            harm(job.out);
            return end;
          });
          return { ...run, ended };
        },
      },
    );
    expect([told.done, told.failed]).toEqual([0, 1]);
    expect(told.reasonOf('failed', 'ant')).toContain(message);
  });
});
