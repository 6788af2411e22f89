import { once } from 'node:events';
import { fileURLToPath } from 'node:url';
import { Worker } from 'node:worker_threads';
import { findLibRaw, type LibRawSetup } from './libraw.js';
import type { RawAnswers, RawFailure, RawJob, RawReply } from './raw-jobs.js';

/** A job that failed for its file; see `RawFailure`. */
export class RawJobError extends Error {
  constructor(readonly failure: RawFailure) {
    super(failure.message);
  }
}

const workerFile = fileURLToPath(new URL('../../../dist/stack/raw/raw-worker.js', import.meta.url));
/** A worker that has nothing to do for this long gives its memory back. */
const idleMs = 2000;

interface Waiting {
  job: RawJob;
  resolve: (answer: unknown) => void;
  reject: (error: unknown) => void;
}

interface Slot {
  worker: Worker;
  work: Waiting | undefined;
  idle?: NodeJS.Timeout;
}

/**
 * Workers that run LibRaw, each with a memory of its own, which only grows: as many as are allowed, started when they
 * are needed and ended when they are not.
 */
class RawWorkers {
  private readonly queue: Waiting[] = [];
  private readonly slots = new Set<Slot>();
  private starting = 0;
  private limit = 1;

  /** Files that are worked on at once. */
  get atOnce(): number {
    return this.limit;
  }

  /** Workers at once; those that are too many end after the job that they are at. */
  allow(count: number): void {
    this.limit = Math.max(1, count);
    for (const slot of this.slots) if (!slot.work && this.slots.size > this.limit) this.end(slot);
    this.pump();
  }

  run<Kind extends RawJob['kind']>(job: RawJob & { kind: Kind }): Promise<RawAnswers[Kind]> {
    return new Promise((resolve, reject) => {
      this.queue.push({ job, resolve: resolve as (answer: unknown) => void, reject });
      this.pump();
    });
  }

  /** Ends the workers that are idle, so that their memory is free at once. */
  async endIdle(): Promise<void> {
    await Promise.all([...this.slots].map((slot) => (slot.work ? undefined : this.end(slot))));
  }

  private pump(): void {
    for (const slot of this.slots)
      if (!slot.work && this.queue.length > 0) this.give(slot, this.queue.shift()!);
    while (this.starting < this.queue.length && this.slots.size + this.starting < this.limit) this.start();
  }

  private give(slot: Slot, work: Waiting): void {
    clearTimeout(slot.idle);
    slot.work = work;
    slot.worker.ref();
    slot.worker.postMessage(work.job);
  }

  private start(): void {
    this.starting++;
    findLibRaw()
      .then(startWorker)
      .then(
        (worker) => this.take(worker),
        (error: unknown) => {
          // Whoever waits would wait for ever.
          for (const { reject } of this.queue.splice(0)) reject(error);
        },
      )
      .finally(() => {
        this.starting--;
        this.pump();
      });
  }

  private take(worker: Worker): void {
    const slot: Slot = { worker, work: undefined };
    let failure: Error | undefined;
    worker.on('message', (reply: RawReply) => this.finish(slot, reply));
    worker.on('error', (error: Error) => {
      failure = error;
    });
    worker.once('exit', () => {
      this.slots.delete(slot);
      clearTimeout(slot.idle);
      const message = failure?.message ?? 'the worker that developed it ended early';
      slot.work?.reject(new RawJobError({ message, isSpent: true }));
      this.pump();
    });
    this.slots.add(slot);
    worker.unref();
  }

  private finish(slot: Slot, reply: RawReply): void {
    const work = slot.work!;
    slot.work = undefined;
    if ('failure' in reply) work.reject(new RawJobError(reply.failure));
    else work.resolve(reply.answer);
    if (('failure' in reply && reply.failure.isSpent) || this.slots.size > this.limit) void this.end(slot);
    else this.rest(slot);
    this.pump();
  }

  /** An idle worker does not keep the program alive. */
  private rest(slot: Slot): void {
    slot.worker.unref();
    slot.idle = setTimeout(() => void this.end(slot), idleMs);
    slot.idle.unref();
  }

  private end(slot: Slot): Promise<number> {
    this.slots.delete(slot);
    return slot.worker.terminate();
  }
}

async function startWorker(setup: LibRawSetup): Promise<Worker> {
  const worker = new Worker(workerFile, { workerData: setup });
  // Its first message says that it is ready.
  await once(worker, 'message');
  return worker;
}

/** The workers of this process. */
export const rawWorkers = new RawWorkers();
