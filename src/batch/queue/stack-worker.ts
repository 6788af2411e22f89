import { DelayedError, type Job, Worker } from 'bullmq';
import type { MergeEvent } from '../../merge/options.js';
import type { StackEnd, StackRun } from '../stack-job.js';
import { startStackProcess } from '../stack-process.js';
import {
  connectionTo,
  type QueuedEnd,
  type QueuedStack,
  queueName,
  requireServer,
} from './queue-connection.js';

/** How a worker treats its machine. */
export interface WorkerOptions {
  threads: number;
  memoryLimitMb: number | undefined;
  nice: number;
  /**
   * Time after which a worker that gives no sign of life loses its stack to another, ms. A living one renews its
   * lease twice in that time, however long the merge takes.
   */
  leaseMs: number;
}

/** What a worker tells. */
export type WorkerEvent =
  | { event: 'waiting' }
  | { event: 'begin'; stack: string; frames: number }
  | { event: 'end'; stack: string; end: StackEnd }
  | { event: 'notice'; message: string };

/** Times a stack may lose its worker before it is given up: it may be what kills them. */
const lostWorkers = 2;

/** Share of the lease after which a worker that cannot renew it stops by itself, before another begins. */
const safeShare = 0.85;

/**
 * Merges stacks of the queue, one at a time, until `signal` fires; a stack in work then goes back to the queue.
 *
 * Exactly one result: only the holder of the lease may report an end; a worker that lost its lease, or cannot
 * renew it in time, ends its merge, which leaves nothing; and a result appears by one rename.
 *
 * @throws UsageError for a wrong address, OutputError when the server does not answer at the start.
 */
export async function runWorker(
  url: string,
  options: WorkerOptions,
  tell: (event: WorkerEvent) => void,
  signal: AbortSignal,
): Promise<void> {
  await requireServer(url);
  const { leaseMs } = options;
  const leases = new Map<string, { run: StackRun; renewedMs: number }>();
  const worker = new Worker<QueuedStack, QueuedEnd>(
    queueName,
    async (job, token) => {
      tell({ event: 'begin', stack: job.data.stack, frames: job.data.frames });
      const run = startStackProcess(jobHere(job, options), (event) => passOn(job, event));
      const id = job.id ?? '';
      leases.set(id, { run, renewedMs: performance.now() });
      const end = await run.ended.finally(() => leases.delete(id));
      tell({ event: 'end', stack: job.data.stack, end });
      if (end.state !== 'stopped') return end;
      await job.moveToDelayed(Date.now() + 1, token);
      throw new DelayedError();
    },
    {
      connection: connectionTo(url),
      concurrency: 1,
      lockDuration: leaseMs,
      stalledInterval: leaseMs / 2,
      maxStalledCount: lostWorkers,
    },
  );
  worker.on('error', (error) => tell({ event: 'notice', message: `The queue: ${error.message}` }));
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
    tell({ event: 'waiting' });
    await aborted(signal);
    for (const { run } of leases.values()) run.stop();
  } finally {
    clearInterval(watch);
    await worker.close();
  }
}

/** The job as this machine runs it: threads, memory and priority are its own affair. */
function jobHere({ data }: Job<QueuedStack>, { threads, memoryLimitMb, nice }: WorkerOptions) {
  const { job } = data;
  return { ...job, options: { ...job.options, threads }, memoryLimitMb, nice };
}

function passOn(job: Job<QueuedStack>, event: MergeEvent): void {
  // Progress that is lost is no harm.
  job.updateProgress(event).catch(() => undefined);
}

function aborted(signal: AbortSignal): Promise<void> {
  return new Promise((resolve) => {
    if (signal.aborted) resolve();
    signal.addEventListener('abort', () => resolve(), { once: true });
  });
}
