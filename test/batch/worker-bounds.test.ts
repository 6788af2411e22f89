import { type ChildProcess, spawn } from 'node:child_process';
import {
  appendFileSync,
  existsSync,
  mkdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  symlinkSync,
  utimesSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { Queue } from 'bullmq';
import fc from 'fast-check';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { jobMark } from '../../src/batch/job-mark.js';
import { nightListName } from '../../src/batch/night-events.js';
import { resolveBounds } from '../../src/batch/queue/path-bounds.js';
import { connectionTo, queueName } from '../../src/batch/queue/queue-connection.js';
import type { QueuedStack } from '../../src/batch/queue/queue-messages.js';
import { takeJob } from '../../src/batch/queue/refuse-job.js';
import { runWorker, type WorkerEvent } from '../../src/batch/queue/stack-worker.js';
import { runBatch } from '../../src/batch/run-batch.js';
import type { StackJob } from '../../src/batch/stack-job.js';
import type { MergeOptions } from '../../src/options/merge-options.js';
import { resolveOptions } from '../../src/options/resolve-merge-options.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { programVersion } from '../../src/version.js';
import { makeFolder } from '../stack/pictures.js';
import { startStandIn } from './in-process.js';
import { at, batchEvent, doneEvent } from './night-fixtures.js';
import { ready } from './program.js';
import { hasServer, type QueueServer, startServer } from './queue-server.js';
import { namesIn, placeFrames, renderTiny, resultBytes } from './tiny-stacks.js';

let frames: Record<string, Buffer>;
beforeAll(async () => {
  frames = await renderTiny();
});

interface Begun {
  /** The worker's folder; `photos/ant` and `out` lie in it. */
  below: string;
  /** Beside it. */
  elsewhere: string;
  job: StackJob;
  queued: QueuedStack;
}

/** A stack that a batch has begun, with what the worker finds on the disk. */
function begin(over: { batch?: object; start?: object; options?: Partial<MergeOptions> } = {}): Begun {
  const parent = makeFolder();
  const [below, elsewhere] = [join(parent, 'below'), join(parent, 'elsewhere')];
  const folder = placeFrames(join(below, 'photos', 'ant'), frames);
  mkdirSync(join(below, 'out'));
  mkdirSync(elsewhere);
  const job = jobIn(folder, join(below, 'out', 'ant'), over.options);
  recordStart(job, over);
  return { below, elsewhere, job, queued: queuedOf(job) };
}

function jobIn(folder: string, out: string, options: Partial<MergeOptions> = {}): StackJob {
  const files = namesIn(folder).map((name) => ({ name, ...factsOf(join(folder, name)) }));
  const resolved = resolveOptions({ threads: 1, overwrite: true, ...options });
  return { folder, out, options: resolved, files, wholeFolder: true, nice: 0 };
}

function factsOf(path: string): { sizeBytes: number; modifiedMs: number; changedMs: number } {
  const { size, mtimeMs, ctimeMs } = statSync(path);
  return { sizeBytes: size, modifiedMs: mtimeMs, changedMs: ctimeMs };
}

function recordStart(job: StackJob, over: { batch?: object; start?: object } = {}): void {
  const batch = batchEvent(['ant']);
  const planned = batch.event === 'batch' ? { ...batch.stacks[0], folder: job.folder } : undefined;
  const list = [
    { ...batch, stacks: [planned], ...over.batch },
    { event: 'start', at, stack: 'ant', pid: null, began: null, host: '', job: jobMark(job), ...over.start },
  ];
  add(join(job.out, '..'), ...list);
}

function add(out: string, ...events: object[]): void {
  appendFileSync(join(out, nightListName), events.map((event) => `${JSON.stringify(event)}\n`).join(''));
}

function queuedOf(job: StackJob): QueuedStack {
  return { programVersion: programVersion(), host: 'bench', stack: job.folder, frames: 3, job };
}

async function reasonOf({ below, queued }: Pick<Begun, 'below' | 'queued'>): Promise<string | undefined> {
  const taken = await takeJob(queued, await resolveBounds([below]));
  return 'refusal' in taken ? taken.refusal.reason : undefined;
}

describe('a worker takes a stack', () => {
  it('that its batch has begun, below its folder', async () => {
    const begun = begin();
    // A folder among the photographs is not looked into, wherever it leads.
    symlinkSync('/', join(begun.job.folder, 'disk'));
    expect(await reasonOf(begun)).toBeUndefined();
  });

  it.each<[string, (begun: Begun) => StackJob, string]>([
    [
      'the photographs lie outside',
      ({ elsewhere, job }) => ({ ...job, folder: placeFrames(join(elsewhere, 'ant'), frames) }),
      'elsewhere/ant does not lie below',
    ],
    [
      'the photographs lie behind a link that leads out',
      ({ below, elsewhere, job }) => {
        placeFrames(join(elsewhere, 'ant'), frames);
        symlinkSync(elsewhere, join(below, 'linked'));
        return { ...job, folder: join(below, 'linked', 'ant') };
      },
      'linked/ant does not lie below',
    ],
    [
      'one photograph is a link that leads out',
      ({ elsewhere, job }) => {
        writeFileSync(join(elsewhere, 'secret.jpg'), 'x');
        symlinkSync(join(elsewhere, 'secret.jpg'), join(job.folder, '0009.jpg'));
        return job;
      },
      '0009.jpg is a link to what does not lie below',
    ],
    [
      'the result would lie outside',
      ({ elsewhere, job }) => ({ ...job, out: join(elsewhere, 'ant') }),
      'elsewhere does not lie below',
    ],
    [
      'the result would lie behind a link that leads out',
      ({ below, elsewhere, job }) => {
        symlinkSync(elsewhere, join(below, 'results'));
        return { ...job, out: join(below, 'results', 'new', 'ant') };
      },
      'results/new does not lie below',
    ],
    [
      'the place of the result is a link',
      ({ elsewhere, job }) => {
        symlinkSync(elsewhere, job.out);
        return job;
      },
      'out/ant is a link',
    ],
    [
      'developed frames would be kept outside',
      ({ elsewhere, job }) => ({ ...job, options: { ...job.options, scratch: elsewhere } }),
      'elsewhere does not lie below',
    ],
    [
      'developed frames would be kept wherever the worker was started',
      ({ job }) => ({ ...job, options: { ...job.options, scratch: 'tmp' } }),
      'scratch is no absolute path',
    ],
    [
      'the names only begin alike',
      ({ below, job }) => {
        const folder = placeFrames(join(`${below}-too`, 'ant'), frames);
        return { ...job, folder };
      },
      'below-too/ant does not lie below',
    ],
  ])('but not where %s', async (_what, change, message) => {
    const begun = begin();
    const job = change(begun);
    // As if the batch itself had begun it: what a worker may touch is for its own machine to say.
    const parent = join(job.out, '..');
    if (existsSync(parent)) recordStart(job);
    expect(await reasonOf({ ...begun, queued: queuedOf(job) })).toContain(message);
  });

  it.each<[string, () => Begun, string]>([
    ['no batch writes there', () => begunWithout(), 'finds no batch in'],
    [
      'the batch began it with other options',
      () => begin({ start: { job: 'f'.repeat(64) } }),
      'has not begun',
    ],
    ['it has ended', () => ended(), 'has not begun this stack'],
    ['the batch began other photographs', () => otherFolder(), 'has not begun this stack'],
  ])('but not when %s', async (_what, prepare, message) => {
    expect(await reasonOf(prepare())).toContain(message);
  });

  function begunWithout(): Begun {
    const begun = begin();
    rmSync(join(begun.below, 'out', nightListName));
    return begun;
  }

  function ended(): Begun {
    const begun = begin();
    add(join(begun.below, 'out'), doneEvent('ant'));
    return begun;
  }

  function otherFolder(): Begun {
    const begun = begin();
    const folder = placeFrames(join(begun.below, 'photos', 'bee'), frames);
    return { ...begun, queued: queuedOf(jobIn(folder, begun.job.out)) };
  }

  it.each<[string, (folder: string) => void, string]>([
    ['are not there', (folder) => renameSync(folder, `${folder}-gone`), 'does not exist'],
    [
      'are on another disk than the one that is mounted',
      (folder) => {
        renameSync(folder, `${folder}-gone`);
        mkdirSync(folder);
      },
      'none of the 3 files of the stack is in',
    ],
  ])('whose photographs %s only to say that', async (_what, harm, message) => {
    const begun = begin();
    harm(begun.job.folder);
    const reason = await reasonOf(begun);
    expect(reason).toContain('it cannot see the photographs: ');
    expect(reason).toContain(message);
  });

  it('whose photographs are all others than the batch saw only to say that', async () => {
    const begun = begin();
    for (const name of namesIn(begun.job.folder)) utimesSync(join(begun.job.folder, name), 1, 1);
    expect(await reasonOf(begun)).toContain('it sees other photographs in');
  });

  it('of another version only to say so', async () => {
    const begun = begin();
    const reason = await reasonOf({ ...begun, queued: { ...begun.queued, programVersion: '99.0.0' } });
    expect(reason).toBe(
      `the batch on bench is Lamella 99.0.0, and this worker is Lamella ${programVersion()}: install the same version on both.`,
    );
  });

  it('for no garbage but what means the same', async () => {
    const { below, queued } = begin();
    const bounds = await resolveBounds([below]);
    const part = fc.oneof(fc.jsonValue(), fc.anything());
    const nearly = fc.tuple(fc.constantFrom(...Object.keys(queued)), part);
    const nearlyJob = fc.tuple(fc.constantFrom('folder', 'out', 'files', 'options', 'wholeFolder'), part);
    const message = fc.oneof(
      part,
      nearly.map(([name, value]) => ({ ...queued, [name]: value })),
      nearlyJob.map(([name, value]) => ({ ...queued, job: { ...queued.job, [name]: value } })),
    );
    await fc.assert(
      fc.asyncProperty(message, async (value) => {
        const taken = await takeJob(value, bounds);
        // Words for people may be any; what is done is what the batch began.
        if ('queued' in taken) expect(jobMark(taken.queued.job)).toBe(jobMark(queued.job));
      }),
      // One that is nearly right waits for the batch's list, which may come late over a network.
      { numRuns: 60 },
    );
  });
});

describe('a result in the place of a stack', () => {
  async function placeResult({ job }: Begun, folder: string, options = job.options): Promise<void> {
    await startStandIn({ ...job, folder, options }, () => {}).ended;
  }

  it('that the batch recorded, or would make again, is replaced', async () => {
    const same = begin();
    await placeResult(same, same.job.folder);
    expect(await reasonOf(same)).toBeUndefined();

    const recorded = begin({ options: { rule: 'select' } });
    await placeResult(recorded, recorded.job.folder, resolveOptions({ rule: 'weigh' }));
    const { startedAt } = JSON.parse(readFileSync(join(recorded.job.out, 'run.json'), 'utf8'));
    const done = doneEvent('ant', { result: { startedAt, files: [] } });
    add(join(recorded.below, 'out'), done, {
      ...{ event: 'start', at, stack: 'ant', pid: null, began: null, host: '', job: jobMark(recorded.job) },
    });
    expect(await reasonOf(recorded)).toBeUndefined();
  });

  it.each<[string, (begun: Begun) => Promise<void>]>([
    ['of other photographs', (begun) => placeResult(begun, '/photos/bee')],
    ['of other options', (begun) => placeResult(begun, begun.job.folder, resolveOptions({ rule: 'weigh' }))],
    [
      'that is damaged',
      async (begun) => {
        await placeResult(begun, begun.job.folder);
        writeFileSync(join(begun.job.out, 'run.json'), '{ "lamella"');
      },
    ],
  ])('%s that the batch did not write is not, unless the batch was told to', async (_what, place) => {
    const begun = begin();
    await place(begun);
    expect(await reasonOf(begun)).toContain('already holds a result that this batch did not write');
    const told = begin({ batch: { overwrite: true } });
    await place(told);
    expect(await reasonOf(told)).toBeUndefined();
  });
});

describe.skipIf(!hasServer)('a worker on a queue that anybody can write to (needs redis-server)', () => {
  let server: QueueServer;
  beforeAll(async () => {
    server = await startServer();
  });
  afterAll(() => server?.stop());

  it('touches nothing that it was not given, lives on, and merges what a batch hands out', async () => {
    const { below, elsewhere, job, queued } = begin();
    const stolen = placeFrames(join(elsewhere, 'ant'), frames);
    await startStandIn({ ...job, out: join(below, 'earlier', 'ant') }, () => {}).ended;
    const earlier = resultBytes(join(below, 'earlier'));
    const hostile: unknown[] = [
      null,
      'garbage',
      { ...queued, job: null },
      queuedOf({ ...jobIn(stolen, join(below, 'out', 'ant')) }),
      queuedOf({ ...job, out: join(elsewhere, 'result') }),
      queuedOf({ ...job, out: join(below, 'earlier', 'ant') }),
    ];
    const queue = new Queue(queueName, { connection: connectionTo(server.url) });
    for (const [i, data] of hostile.entries()) await queue.add('stack', data, { jobId: `hostile-${i}` });

    const stop = new AbortController();
    const events: WorkerEvent[] = [];
    const options = { below: [below], threads: 1, memoryLimitMb: undefined, nice: 0, leaseMs: 5000 };
    const worker = runWorker(server.url, options, (event) => events.push(event), stop.signal);
    const root = join(below, 'photos');
    const out = join(below, 'merged');
    const told = await runBatch(root, { out, queue: server.url });
    stop.abort();
    await worker;
    await queue.close();
    expect([told.done, told.failed]).toEqual([1, 0]);
    expect(existsSync(join(out, 'ant', 'composite.tif'))).toBe(true);
    expect(events.filter(({ event }) => event === 'refused')).toHaveLength(hostile.length);
    expect(events.filter(({ event }) => event === 'begin')).toHaveLength(1);
    expect(namesIn(elsewhere)).toEqual(['ant']);
    expect(namesIn(join(below, 'out'))).toEqual([nightListName]);
    expect(resultBytes(join(below, 'earlier'))).toEqual(earlier);
  });

  it('that lacks the graphics processor of a batch merges on the processor, and says so', async () => {
    const { below } = begin();
    vi.stubEnv('VK_ICD_FILENAMES', join(below, 'no-driver.json'));
    const stop = new AbortController();
    const options = { below: [below], threads: 1, memoryLimitMb: undefined, nice: 0, leaseMs: 5000 };
    const worker = runWorker(server.url, options, () => {}, stop.signal);
    const out = join(below, 'on-device');
    const told = await runBatch(join(below, 'photos'), {
      out,
      queue: server.url,
      merge: { device: 'gpu:3' },
    });
    stop.abort();
    await worker;
    vi.unstubAllEnvs();
    expect([told.done, told.failed]).toEqual([1, 0]);
    const record = await readRunRecord(join(out, 'ant'));
    // Which device has which number differs from machine to machine.
    expect(record.options.device).toBe('gpu');
    expect(record.device).toBe('processor');
    expect(record.warnings).toContainEqual(expect.stringMatching(/^The processor merges, for /));
  });

  it('that cannot see the photographs says so, and so does the batch', async () => {
    const { below, job } = begin();
    const other = makeFolder();
    const stop = new AbortController();
    const options = { below: [other], threads: 1, memoryLimitMb: undefined, nice: 0, leaseMs: 5000 };
    const worker = runWorker(server.url, options, () => {}, stop.signal);
    const reasons: string[] = [];
    const told = await runBatch(
      join(below, 'photos'),
      { out: join(below, 'merged'), queue: server.url },
      { onEvent: (event) => event.event === 'failed' && reasons.push(event.reason) },
    );
    stop.abort();
    await worker;
    expect([told.done, told.failed]).toEqual([0, 1]);
    expect(reasons[0]).toMatch(`does not take ${job.folder}: ${job.folder} does not lie below ${other}`);
  });
});

describe('lamella worker', () => {
  const program = fileURLToPath(new URL('../../bin/lamella.js', import.meta.url));

  function work(...args: string[]): Promise<{ code: number | null; stderr: string }> {
    const child: ChildProcess = spawn(process.execPath, [program, 'worker', ...args], {
      stdio: ['ignore', 'ignore', 'pipe'],
      env: ready,
    });
    let stderr = '';
    child.stderr?.on('data', (chunk) => {
      stderr += chunk;
    });
    return new Promise((resolve) => child.once('close', (code) => resolve({ code, stderr })));
  }

  it.each([
    [[], 'Expected a folder for --below but received none'],
    [['--below', ''], 'Expected the path of a folder for --below but received an empty text'],
    [
      ['--below', '/no/such/folder'],
      'Expected the path of a folder for --below but received /no/such/folder: it does not exist',
    ],
    [['--below', program], 'it is a file'],
  ])('with %j says what --below wants', async (args, message) => {
    const { code, stderr } = await work('--queue', 'redis://127.0.0.1:9', ...args);
    expect(stderr).toContain(message);
    expect(code).toBe(2);
  });
});
