import { randomBytes } from 'node:crypto';
import { hostname } from 'node:os';
import { setTimeout as delay } from 'node:timers/promises';
import { DelayedError, type Job, Worker } from 'bullmq';
import type { MergeEvent } from '../../merge/merge-event.js';
import { programVersion } from '../../version.js';
import type { StackEnd, StackJob, StackRun } from '../stack-job.js';
import { startStackProcess } from '../stack-process.js';
import { resolveBounds } from './path-bounds.js';
import { connectionTo, queueName, requireServer } from './queue-connection.js';
import type { WorkerAnswer } from './queue-messages.js';
import { takeJob } from './refuse-job.js';

/** How a worker treats its machine. */
export interface WorkerOptions {
  /** Folders below which photographs are read and results written; nothing outside is touched. */
  below: readonly string[];
  threads: number;
  memoryLimitMb: number | undefined;
  nice: number;
  /**
   * Time after which a worker that gives no sign of life loses its stack to another, ms. A living one renews its
   * lease twice in that time, however long the merge takes.
   */
  leaseMs: number;
}

/** What a worker emits. */
export type WorkerEvent =
  | { event: 'waiting' }
  | { event: 'begin'; stack: string; frames: number }
  | { event: 'end'; stack: string; end: StackEnd }
  | { event: 'refused'; stack: string; reason: string }
  | { event: 'notice'; message: string };

/** Times a stack may lose its worker before it is given up: it may be what kills them. */
const lostWorkers = 2;

/** A refused stack is held this long, so that workers that can merge it have time to take the others, ms. */
const refusalMs = 1000;

/** Share of the lease after which a worker that cannot renew it stops by itself, before another begins. */
const safeShare = 0.85;

/**
 * Merges stacks of the queue, one at a time, until `signal` fires; a stack in work then goes back to the queue.
 *
 * Exactly one result: only the holder of the lease may report an end; a worker that lost its lease, or cannot
 * renew it in time, ends its merge, which leaves nothing; and a result appears by one rename.
 *
 * @throws UsageError for a wrong address or folder, OutputError when the server does not answer at the start.
 */
export async function runWorker(
  url: string,
  options: WorkerOptions,
  emit: (event: WorkerEvent) => void,
  signal: AbortSignal,
): Promise<void> {
  const bounds = await resolveBounds(options.below);
  await requireServer(url);
  const { leaseMs } = options;
  const leases = new Map<string, { run: StackRun; renewedMs: number }>();
  const refused = new Set<string>();
  const name = randomBytes(8).toString('hex');
  const answer = (end: WorkerAnswer['end']): WorkerAnswer => ({
    ...{ programVersion: programVersion(), host: hostname(), worker: name, end },
  });
  const giveBack = async (job: Job<unknown>, token: string | undefined): Promise<never> => {
    await job.moveToDelayed(Date.now() + 1, token);
    throw new DelayedError();
  };
  const worker = new Worker<unknown, WorkerAnswer>(
    queueName,
    async (job, token) => {
      const taken = await takeJob(job.data, bounds);
      if (signal.aborted) return giveBack(job, token);
      if ('refusal' in taken) {
        const { reason } = taken.refusal;
        const stack = stackOf(job.data);
        // What no other worker takes comes back again and again.
        if (!refused.has(`${stack} ${reason}`)) emit({ event: 'refused', stack, reason });
        refused.add(`${stack} ${reason}`);
        await delay(refusalMs, undefined, { signal }).catch(() => undefined);
        return answer(taken.refusal);
      }
      const { stack, frames, job: wanted } = taken.queued;
      emit({ event: 'begin', stack, frames });
      const run = startStackProcess(jobHere(wanted, options), (event) => passOn(job, event));
      const id = job.id ?? '';
      leases.set(id, { run, renewedMs: performance.now() });
      const end = await run.ended.finally(() => leases.delete(id));
      emit({ event: 'end', stack, end });
      return end.state === 'stopped' ? giveBack(job, token) : answer(end);
    },
    {
      connection: connectionTo(url),
      name,
      concurrency: 1,
      lockDuration: leaseMs,
      stalledInterval: leaseMs / 2,
      maxStalledCount: lostWorkers,
    },
  );
  worker.on('error', (error) => emit({ event: 'notice', message: `The queue: ${error.message}` }));
  worker.on('locksRenewed', ({ jobIds }) => {
    for (const id of jobIds) {
      const lease = leases.get(id);
      if (lease) lease.renewedMs = performance.now();
    }
  });
  worker.on('lockRenewalFailed', (jobIds) => {
    for (const id of jobIds) leases.get(id)?.run.stop();
  });
  const watch = setInterval(() => {
    for (const { run, renewedMs } of leases.values()) {
      if (performance.now() - renewedMs > safeShare * leaseMs) run.stop();
    }
  }, leaseMs / 20);
  try {
    await worker.waitUntilReady();
    emit({ event: 'waiting' });
    await aborted(signal);
    for (const { run } of leases.values()) run.stop();
  } finally {
    clearInterval(watch);
    await worker.close();
  }
}

/**
 * The job as this machine runs it: threads, memory and priority are its own affair, and so is which graphics processor has
 * which number.
 */
function jobHere(job: StackJob, { threads, memoryLimitMb, nice }: WorkerOptions): StackJob {
  const { memoryMb: _, ...others } = job.options;
  const options = {
    ...others,
    threads,
    // Whatever it is: options are checked where they are used.
    ...(/^gpu:/.test(String(others.device)) && { device: 'gpu' as const }),
    ...(memoryLimitMb !== undefined && { memoryMb: memoryLimitMb }),
    // What may be replaced was decided when the job was taken.
    overwrite: true,
  };
  return { ...job, options, memoryLimitMb, nice };
}

/** The folder that a job is about, for words; the job may be anything. */
function stackOf(data: unknown): string {
  const stack = (data as { stack?: unknown } | null | undefined)?.stack;
  return typeof stack === 'string' ? stack : 'a job of the queue';
}

function passOn(job: Job<unknown>, event: MergeEvent): void {
  // Progress that is lost is no harm.
  job.updateProgress(event).catch(() => undefined);
}

function aborted(signal: AbortSignal): Promise<void> {
  return new Promise((resolve) => {
    if (signal.aborted) resolve();
    signal.addEventListener('abort', () => resolve(), { once: true });
  });
}
