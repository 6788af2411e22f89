import { mkdir, readdir } from 'node:fs/promises';
import { hostname } from 'node:os';
import { named, OutputError } from '../errors.js';
import type { MergeOptions } from '../options/merge-options.js';
import { asOutputError } from '../result/output-failure.js';
import { refuseUnfitResultPlace } from '../result/output-target.js';
import { tidyUnfinished } from '../result/unfinished.js';
import { countOf, spanText } from '../stack/words.js';
import { programVersion } from '../version.js';
import type { BatchEvent } from './batch-events.js';
import { takeLock } from './batch-lock.js';
import { type BatchOptions, type ResolvedBatch, resolveBatch } from './batch-options.js';
import { endOrphans } from './end-orphans.js';
import { type InspectionCache, requireRoot } from './find-stacks.js';
import { clockText } from './format-night.js';
import { Night } from './night.js';
import { type EndState, nightListName, nightListSchema, nightListVersion } from './night-events.js';
import { NightList, readNightList } from './night-list.js';
import { nightState } from './night-state.js';
import { type BatchPlan, planBatch } from './plan-batch.js';
import { loadQueueModule } from './queue/queue-packages.js';
import { freeBytesOf, Scheduler } from './scheduler.js';
import type { StartStack } from './stack-job.js';
import { startStackProcess } from './stack-process.js';

/** How a caller follows a batch and stops it; the rest is for tests and for other ways to run a stack. */
export interface BatchHooks {
  /** Told of everything that happens, as it happens. */
  onEvent?: (event: BatchEvent) => void;
  /** Aborting ends the stacks in work and then the batch, with the state 'interrupted'. */
  signal?: AbortSignal | undefined;
  /** Default: a child process each. */
  startStack?: StartStack;
  /** The time; for tests. */
  now?: () => Date;
  /** Free disk space where a folder lies, bytes; for tests. */
  freeBytes?: (folder: string) => Promise<number>;
}

/** How a batch ended. */
export interface BatchOutcome {
  out: string;
  state: EndState;
  /** In this run. */
  done: number;
  /** Of `done`: merged, but something spoils the picture. */
  look: number;
  /** Of `look`: more than a fifth of the frames was left out. */
  incomplete: number;
  failed: number;
  putOff: number;
  /** Results that stood already. */
  finished: number;
}

/**
 * Merges the stacks below a folder, each into a folder of its own in `out`, and keeps the night list there. A batch that
 * was ended in any way goes on when it is run again: what is finished stays.
 *
 * @throws UsageError; InputError when the root cannot be searched; OutputError when `out` is taken by
 *   another batch or by something else, or cannot be written. A stack that fails is no error.
 */
export async function runBatch(
  root: string,
  given: BatchOptions,
  hooks: BatchHooks = {},
): Promise<BatchOutcome> {
  const batch = resolveBatch(root, given);
  const now = hooks.now ?? (() => new Date());
  await requireRoot(batch.root);
  // Before anything is written: its packages may not be installed.
  if (batch.queue) await loadQueue();
  await prepareOut(batch.out);
  const lock = await takeLock(batch.out, now);
  try {
    const state = nightState((await readNightList(batch.out)) ?? []);
    await endOrphans(state);
    await tidyUnfinished(batch.out);
    const onEvent = hooks.onEvent ?? (() => {});
    const known: InspectionCache = new Map();
    onEvent({ event: 'search', root: batch.root });
    const unended = state.batch && !state.end ? state.batch : undefined;
    const plan = await planBatch(batch, state, { known, signal: hooks.signal });
    const night = new Night(batch.out, state, await NightList.open(batch.out), onEvent, now);
    if (unended) {
      const started = clockText(new Date(unended.at));
      const message = `The batch of ${started} (process ${unended.pid}) did not end by itself: going on from its night list.`;
      night.emit({ event: 'notice', message });
    }
    try {
      return await runNight(batch, night, plan, known, hooks, now);
    } finally {
      await night.close();
    }
  } finally {
    await lock.release();
  }
}

/** What a batch would do, without doing it: nothing is written. */
export async function dryRun(
  root: string,
  given: BatchOptions,
  signal?: AbortSignal,
): Promise<{ batch: ResolvedBatch; plan: BatchPlan }> {
  const batch = resolveBatch(root, given);
  const state = nightState((await readNightList(batch.out)) ?? []);
  return { batch, plan: await planBatch(batch, state, { signal }) };
}

async function runNight(
  batch: ResolvedBatch,
  night: Night,
  plan: BatchPlan,
  known: InspectionCache,
  hooks: BatchHooks,
  now: () => Date,
): Promise<BatchOutcome> {
  for (const message of plan.partings) night.emit({ event: 'parting', message });
  for (const message of plan.damaged) night.emit({ event: 'notice', message });
  for (const { folder, reason, unreadable } of plan.passed) {
    if (!unreadable) night.emit({ event: 'notice', message: `${folder} is no stack: ${reason}.` });
  }
  await night.record({
    event: 'batch',
    at: night.at(),
    schema: nightListSchema,
    version: nightListVersion,
    programVersion: programVersion(),
    pid: process.pid,
    host: hostname(),
    root: batch.root,
    whole: !batch.retry && !batch.only,
    overwrite: batch.merge.overwrite ?? false,
    merge: withoutPositions(batch.merge),
    stacks: [
      ...plan.finished,
      ...plan.tasks.map(({ planned }) => planned),
      ...plan.faults.map(({ planned }) => planned),
    ],
  });
  const queue = batch.queue && (await openQueue(batch.queue, night));
  const scheduler = new Scheduler(batch, night, known, {
    signal: hooks.signal,
    startStack: queue?.start ?? hooks.startStack ?? startStackProcess,
    freeBytes: hooks.freeBytes ?? freeBytesOf,
    now,
  });
  const began = now().getTime();
  // What stopped processes left aside goes at once, however the scheduler ends.
  const state = await scheduler.run(plan).finally(async () => {
    await queue?.close();
    await tidyUnfinished(batch.out);
  });
  const { done, look, incomplete, failed, putOff } = scheduler.counts;
  const spent = spanText(now().getTime() - began);
  const counts = `${countOf(done, 'stack')} merged${look > 0 ? ` (${look} of them to look at)` : ''}, ${failed} failed, ${putOff} put off in ${spent}`;
  const finished = plan.finished.length;
  const reason = `${endTexts[state]}: ${counts}${finished > 0 ? `; ${finished} finished before` : ''}.`;
  await night.record({ event: 'end', at: night.at(), state, reason });
  await night.writePage(true);
  return { out: batch.out, state, done, look, incomplete, failed, putOff, finished };
}

/** Options as the list keeps them: positions are as long as a stack. */
function withoutPositions({ positionsMm: _, relativePositions: __, ...options }: Partial<MergeOptions>) {
  return options;
}

/** Loaded only here: without a queue nothing of it is needed. */
async function openQueue({ url, priority }: NonNullable<ResolvedBatch['queue']>, night: Night) {
  const { StackQueue } = await loadQueue();
  let last = '';
  return StackQueue.open(url, priority, (message) => {
    if (message !== last) night.emit({ event: 'notice', message });
    last = message;
  });
}

const loadQueue = () => loadQueueModule(() => import('./queue/stack-queue.js'));

const endTexts: Record<EndState, string> = {
  done: 'The batch is through',
  'no disk': 'The batch stopped because the disk has no room for the next stack',
  until: 'The batch stopped so as to end in time',
  interrupted: 'The batch was interrupted',
};

/** Makes the folder of the results. Throws OutputError when it holds something else, or lies in a result. */
async function prepareOut(out: string): Promise<void> {
  try {
    await refuseUnfitResultPlace(out);
    await mkdir(out, { recursive: true });
    const names = (await readdir(out)).filter((name) => !name.startsWith('.'));
    if (names.length > 0 && !names.includes(nightListName)) {
      throw new OutputError(
        `${out} is not empty and is no folder of a batch (it has no ${nightListName}), so it is left alone. Choose another place with ${named('out')}.`,
      );
    }
  } catch (error) {
    throw asOutputError(error, out);
  }
}
