import { hostname } from 'node:os';
import { join } from 'node:path';
import { Queue, Worker } from 'bullmq';
import fc from 'fast-check';
import { Redis } from 'ioredis';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import type { BatchEvent } from '../../src/batch/batch-events.js';
import { nightPage } from '../../src/batch/night-page.js';
import { addEvent, nightState } from '../../src/batch/night-state.js';
import { connectionTo, queueName } from '../../src/batch/queue/queue-connection.js';
import {
  type QueuedStack,
  readAnswer,
  readMergeEvent,
  readQueuedStack,
} from '../../src/batch/queue/queue-messages.js';
import { type BatchOutcome, runBatch } from '../../src/batch/run-batch.js';
import { programVersion } from '../../src/version.js';
import { makeFolder } from '../stack/pictures.js';
import { startStandIn } from './in-process.js';
import { at, batchEvent } from './night-fixtures.js';
import { hasServer, type QueueServer, startServer } from './queue-server.js';
import { placeFrames, renderTiny } from './tiny-stacks.js';

let server: QueueServer;
let frames: Record<string, Buffer>;
const workers: Worker[] = [];

beforeAll(async () => {
  frames = await renderTiny();
  if (hasServer) server = await startServer();
});
afterEach(async () => {
  await Promise.all(workers.splice(0).map((worker) => worker.close(true)));
});
afterAll(() => server?.stop());

function placeRoot(count: number): { root: string; out: string } {
  const parent = makeFolder();
  for (let i = 0; i < count; i++) placeFrames(join(parent, 'week', `stack ${i}`), frames);
  return { root: join(parent, 'week'), out: join(parent, 'out') };
}

interface Told extends BatchOutcome {
  notices: string[];
  /** Reasons of the failed stacks, in the order of the stacks. */
  reasons: string[];
}

async function batchOver(
  { root, out }: { root: string; out: string },
  onEvent: (event: BatchEvent) => void = () => {},
): Promise<Told> {
  const events: BatchEvent[] = [];
  const outcome = await runBatch(
    root,
    { out, queue: server.url },
    {
      onEvent(event) {
        events.push(event);
        onEvent(event);
      },
    },
  );
  const failed = events.flatMap((event) => (event.event === 'failed' ? [event] : []));
  return {
    ...outcome,
    notices: events.flatMap((event) => (event.event === 'notice' ? [event.message] : [])),
    reasons: failed
      .sort((first, second) => first.stack.localeCompare(second.stack))
      .map(({ reason }) => reason),
  };
}

/** Something that takes stacks of the queue and answers as it likes. */
function answerWith(
  answer: (queued: QueuedStack, progress: (event: never) => Promise<void>) => unknown,
  name = 'f'.repeat(16),
): void {
  const worker = new Worker<QueuedStack>(
    queueName,
    async (job) => answer(job.data, (event) => job.updateProgress(event)),
    { connection: connectionTo(server.url), name },
  );
  worker.on('error', () => {});
  workers.push(worker);
}

const envelope = { programVersion: programVersion(), host: 'bench', worker: 'f'.repeat(16) };
const failedEnd = { state: 'failed', kind: 'frames', reason: 'no frames' };
const goodReport = {
  ...{ frames: 3, framesUsed: 3, size: { width: 96, height: 64 }, wallMs: 5, verdicts: ['Good.'] },
  ...{ warnings: [], notes: [], files: [], thumbnail: 'data:image/jpeg;base64,AAAA' },
};
const goodAnswer = { ...envelope, end: { state: 'done', report: goodReport } };

const hostileAnswers: [string, unknown][] = [
  ['null', null],
  ['nothing', undefined],
  ['a number', 5],
  ['a text', 'done'],
  ['a list', []],
  ['an empty object', {}],
  ['the answer of a program that gives no version', { state: 'done', report: goodReport }],
  ['no end', { ...envelope, end: null }],
  ['an unknown state', { ...envelope, end: { state: 'merged' } }],
  ['a state that only a batch may give', { ...envelope, end: { state: 'stopped' } }],
  ['an empty report', { ...envelope, end: { state: 'done', report: {} } }],
  ['no report', { ...envelope, end: { state: 'done', report: null } }],
  [
    'a report of lists that are none',
    { ...goodAnswer, end: { ...goodAnswer.end, report: { ...goodReport, warnings: {} } } },
  ],
  [
    'a picture that is an address',
    { ...goodAnswer, end: { ...goodAnswer.end, report: { ...goodReport, thumbnail: 'http://bench/' } } },
  ],
  ['a failure of no known kind', { ...envelope, end: { state: 'failed', kind: 'whim', reason: 'x' } }],
  ['a failure without a reason', { ...envelope, end: { state: 'failed', kind: 'frames', reason: null } }],
];

describe.skipIf(!hasServer)('over the queue (needs redis-server)', () => {
  it('whatever comes back for a stack fails that stack and no other, and none is lost', async () => {
    const place = placeRoot(hostileAnswers.length + 1);
    answerWith(({ stack }) => {
      const i = Number(/\d+$/.exec(stack)?.[0]);
      return i < hostileAnswers.length ? hostileAnswers[i][1] : { ...envelope, end: failedEnd };
    });
    const told = await batchOver(place);
    expect([told.state, told.done, told.failed]).toEqual(['done', 0, hostileAnswers.length + 1]);
    const garbled = told.reasons.filter((reason) => reason.includes('cannot be understood: expected '));
    expect(garbled).toHaveLength(hostileAnswers.length);
    expect(told.reasons).toContain('no frames');
  });

  it('a stack counts as done only when its result is found: not when the worker has another disk', async () => {
    const place = placeRoot(1);
    answerWith(() => goodAnswer);
    const told = await batchOver(place);
    expect([told.done, told.failed]).toEqual([0, 1]);
    expect(told.reasons[0]).toBe(
      `The worker on bench reported a good end, but ${place.out}/stack 0 does not exist. Does ${place.out} lie on storage that all machines share, under the same path?`,
    );
  });

  it('a result that is there counts, and progress that no merge emits is passed over', async () => {
    const place = placeRoot(1);
    answerWith(async ({ job }, progress) => {
      for (const event of [null, 5, {}, { event: 'progress', stage: 'whim' }, { event: 'error' }]) {
        await progress(event as never);
      }
      return { ...envelope, end: await startStandIn(job, () => {}).ended };
    });
    const merges: BatchEvent[] = [];
    const told = await batchOver(place, (event) => event.event === 'merge' && merges.push(event));
    expect([told.done, told.failed, merges]).toEqual([1, 0, []]);
  });

  it('a worker of another version is noticed', async () => {
    answerWith(() => ({ ...goodAnswer, programVersion: '99.0.0' }));
    const told = await batchOver(placeRoot(1));
    expect(told.reasons).toEqual([
      `The worker on bench is Lamella 99.0.0, and this batch is Lamella ${programVersion()}: install the same version on both.`,
    ]);
  });

  it('what one worker refuses another merges, and what all refuse fails with their reason', async () => {
    const refusal = { state: 'refused', kind: 'folder', reason: 'it cannot see the photographs.' };
    const [one, two] = ['1', '2'].map((digit) => digit.repeat(16));
    answerWith(() => ({ ...envelope, host: 'one', worker: one, end: refusal }), one);
    const alone = await batchOver(placeRoot(1));
    expect(alone.reasons).toEqual([
      expect.stringMatching(/^The worker on one does not take .*: it cannot see/),
    ]);

    answerWith(async ({ job }) => ({ ...envelope, end: await startStandIn(job, () => {}).ended }), two);
    const both = await batchOver(placeRoot(4));
    expect([both.done, both.failed]).toEqual([4, 0]);
  });

  it('a server that is restarted without its data gets the stacks once more, and that is said', async () => {
    const place = placeRoot(3);
    let begun = 0;
    const told = await batchOver(place, (event) => {
      if (event.event !== 'begin' || ++begun < 3) return;
      setTimeout(async () => {
        await server.restart();
        answerWith(async ({ job }) => ({ ...envelope, end: await startStandIn(job, () => {}).ended }));
      }, 500);
    });
    expect([told.done, told.failed]).toEqual([3, 0]);
    expect(told.notices).toContain(
      'The queue lost 3 stacks, as when its server is restarted without its data: handed in again.',
    );
  });

  it('what others write in the place of a stack ends the waiting for it', async () => {
    const place = placeRoot(2);
    const redis = new Redis(server.url);
    const told = await batchOver(place, (event) => {
      if (event.event !== 'begin') return;
      setTimeout(async () => {
        const keys = (await redis.keys(`bull:${queueName}:*`)).filter((key) => /:[0-9a-f]{64}$/.test(key));
        for (const [i, key] of keys.entries()) {
          if (i === 0) await redis.hset(key, 'data', '{ no JSON');
          else await redis.set(key, 'of another type');
        }
      }, 300);
    });
    redis.disconnect();
    expect([told.done, told.failed]).toEqual([0, 2]);
    expect(told.reasons.every((reason) => reason.includes('cannot be understood'))).toBe(true);
    const queue = new Queue(queueName, { connection: connectionTo(server.url) });
    await queue.obliterate({ force: true }).catch(() => undefined);
    await queue.close();
    await server.restart();
  });
});

describe('a message of the queue', () => {
  const job = {
    ...{ folder: '/photos/ant', out: '/out/ant', options: {}, wholeFolder: true, nice: 0 },
    files: [{ name: '1.jpg', sizeBytes: 5, modifiedMs: 1.5, changedMs: 2.5 }],
  };
  const queued = { programVersion: '1.0.0', host: hostname(), stack: '/photos/ant', frames: 1, job };

  it('that is well formed is read', () => {
    expect(readQueuedStack(queued)).toEqual({ value: queued });
    expect(readAnswer(goodAnswer)).toEqual({ value: goodAnswer });
  });

  it.each([
    ['a path that leads up', { ...job, folder: '/photos/../etc' }],
    ['a path that hangs on the working folder', { ...job, out: 'out/ant' }],
    ['a file that is a path', { ...job, files: [{ ...job.files[0], name: '../../etc/passwd' }] }],
    ['a file that is the folder above', { ...job, files: [{ ...job.files[0], name: '..' }] }],
  ])('with %s is none', (_what, wrong) => {
    expect(readQueuedStack({ ...queued, job: wrong })).toHaveProperty('fault');
  });

  it('of any kind is read or refused, and what is read can be shown and recorded', () => {
    const anything = fc.oneof(fc.jsonValue(), fc.anything());
    // Half way between garbage and a message: fields of a message, each right or anything.
    const mixed = (message: object) =>
      fc.record(
        Object.fromEntries(
          Object.entries(message).map(([name, value]) => [name, fc.oneof(fc.constant(value), anything)]),
        ),
        { requiredKeys: [] },
      );
    const report = mixed(goodReport);
    const end = fc.record({ state: fc.constantFrom('done', 'failed', 'refused', 'stopped', null), report });
    const answer = fc.record({ ...mapped(envelope), end: fc.oneof(end, mixed(failedEnd), anything) });
    const event = fc.record({ event: fc.constantFrom('progress', 'stage', 'done', 'x'), stage: anything });
    fc.assert(
      fc.property(fc.oneof(anything, answer), (value) => {
        const read = readAnswer(value);
        if ('fault' in read || read.value.end.state !== 'done') return;
        const night = nightState([batchEvent(['ant'])]);
        const { report: shown } = read.value.end;
        addEvent(night, { ...shown, event: 'done', at, stack: 'ant', options: '', modelMs: 1 });
        nightPage(night, new Date(at));
      }),
      { numRuns: 1000 },
    );
    fc.assert(
      fc.property(fc.oneof(anything, mixed({ ...queued, job: mixed(job) }), event), (value) => {
        readQueuedStack(value);
        readMergeEvent(value);
      }),
      { numRuns: 1000 },
    );
  });
});

function mapped(values: Record<string, string>): Record<string, fc.Arbitrary<unknown>> {
  return Object.fromEntries(Object.entries(values).map(([name, value]) => [name, fc.constant(value)]));
}
