import { fileURLToPath } from 'node:url';
import type { Worker } from 'node:worker_threads';
import Pool from 'worker-threads-pool';
import type { Arena } from '../kernels/arena.js';
import { requireHalos, sharedRows, stripRanges } from '../kernels/kernel-rows.js';
import { compileKernels, type KernelName, orderArguments, type StripArguments } from '../kernels/kernels.js';
import { threadsInAddressSpace } from './address-space.js';
import { publishSpan } from './spans.js';
import { type JobPart, jobCounters, jobPlaces, type StripJob, type StripPart } from './strip-job.js';

/** What a worker gets at its start. */
export interface WorkerSetup {
  module: WebAssembly.Module;
  memories: readonly WebAssembly.Memory[];
}

const workerFile = fileURLToPath(new URL('../../dist/bundles/worker.js', import.meta.url));

/** A slot in the pool, which one worker after another may hold. */
interface Slot {
  readonly scratch: number;
  /** Absent before the first job, and once it has died. */
  worker?: Worker;
  /** Told, one after the other, when the worker has done its part of a job, or has died. */
  readonly ends: ((outcome: JobPart | Error) => void)[];
  /** Jobs that it has not been told of yet. */
  orders: StripJob[];
}

/** A job that workers have been given. */
interface JobUnderWay {
  id: number;
  strips: number;
  place: number;
  /** Why it cannot be done. */
  failure?: Error;
  finished: Promise<void>;
}

/**
 * Long-lived workers over the arena's shared memory. It knows strips and kernels, not pictures. Jobs are done one after the
 * other in the order in which they are given; strips of one may not depend on each other. Who gives several without waiting in
 * between spares the workers the wait for this thread. Results do not depend on the number of workers.
 *
 * A worker that dies takes the jobs under way with it: the strip that it was writing may be half written, so they are
 * rejected. The next job gets another worker in its slot.
 */
export class StripPool {
  private jobId = 0;
  private isClosed = false;
  /** Oldest first. */
  private underWay: JobUnderWay[] = [];
  /** Done when the job before has been given to the workers. */
  private given: Promise<unknown> = Promise.resolve();
  /** Of the jobs that wait to be given. */
  private readonly waitingGroups: number[] = [];
  private group = 0;
  private readonly acquirer: Pool;
  private readonly slots: readonly Slot[];

  private constructor(
    private readonly arena: Arena,
    private readonly setup: WorkerSetup,
    scratch: readonly number[],
  ) {
    this.acquirer = new Pool({ max: scratch.length });
    this.slots = scratch.map((address) => ({ scratch: address, ends: [], orders: [] }));
  }

  /**
   * Starts `wanted` workers, or as many as the address space has room for, each with `scratchBytes` of the arena for itself.
   */
  static async start(arena: Arena, wanted: number, scratchBytes: number): Promise<StripPool> {
    const threads = threadsInAddressSpace(wanted);
    const scratch = Array.from({ length: threads }, () => arena.take(scratchBytes));
    const pool = new StripPool(arena, { module: await compileKernels(), memories: arena.memories }, scratch);
    await Promise.all(pool.slots.map((slot) => pool.acquire(slot)));
    return pool;
  }

  /**
   * Runs a kernel over all strips, its arguments given by name, in each memory over those whose rows it computes, once the
   * jobs that were given before are done. Rows that others read are shared among the memories then. Rejects when a worker dies
   * or the pool is closed.
   */
  async run<K extends KernelName>(kernel: K, given: StripArguments<K>, wanted: number): Promise<void> {
    const parts = partsOf(this.arena, kernel, given, wanted);
    const isShared = parts.length > 1;
    const { group } = this;
    this.waitingGroups.push(group);
    const next = this.given.then(async () => {
      this.waitingGroups.shift();
      try {
        return await this.give(kernel, parts, group);
      } catch (error) {
        // Of those before it the workers may not know yet.
        this.tell();
        throw error;
      }
    });
    const finished = next.then(async (job) => {
      await job.finished;
      if (isShared) for (const rows of sharedRows(kernel, given)) this.arena.share(rows);
    });
    this.given = (isShared ? finished : next).catch(() => {});
    return finished;
  }

  /** Gives a job to the workers, once its place is free. */
  private async give(kernel: KernelName, parts: StripPart[], group: number): Promise<JobUnderWay> {
    const isShared = parts.length > 1;
    // What memories share is shared between jobs.
    const isAlone = isShared || this.slots.some(({ worker }) => !worker);
    // A place is another's once its job, and the one that waits for it, are done.
    const first = isAlone ? this.jobId + 1 : this.jobId + 3 - jobPlaces;
    for (;;) {
      const job = this.underWay[0];
      if (!job || job.id >= first) break;
      this.tell();
      await job.finished.catch(() => {});
    }
    for (const slot of this.slots) if (!slot.worker) await this.acquire(slot);
    if (this.isClosed) throw closedError();
    const isIdle = this.underWay.length === 0;
    const job = this.start(kernel, parts);
    // Workers that have nothing to do do not wait for the rest of a group.
    if (isShared || isIdle || this.waitingGroups[0] !== group) this.tell();
    return job;
  }

  /**
   * Ends a group: workers are told of its jobs together, and tell together that they are done, for with many of them each
   * message counts.
   */
  endGroup(): void {
    this.group++;
  }

  /** Tells the workers of the jobs that they have been given. */
  private tell(): void {
    for (const slot of this.slots) {
      if (slot.orders.length > 0) slot.worker?.postMessage(slot.orders);
      slot.orders = [];
    }
  }

  /** Counts a job as given; the workers are told of it with others. */
  private start(kernel: KernelName, parts: StripPart[]): JobUnderWay {
    const strips = parts.reduce((sum, { count }) => sum + count, 0);
    // Nobody would wait for the job before.
    if (strips === 0) return { id: this.jobId, strips, place: 0, finished: Promise.resolve() };
    const id = ++this.jobId;
    const place = id % jobPlaces;
    const before = this.underWay.at(-1);
    // Where the job before is finished, those before it are.
    const after = before?.id === id - 1 ? { after: before.place } : {};
    const counters = jobCounters(this.arena.memory);
    Atomics.store(counters, 2 * place, 0);
    Atomics.store(counters, 2 * place + 1, strips);
    // Also where one has died: the others must have left the job before its place is another's.
    const ends = this.slots.slice(0, strips).map(
      (slot) =>
        new Promise<void>((resolve) => {
          slot.ends.push((outcome) => {
            if (!(outcome instanceof Error)) {
              const worker = this.slots.indexOf(slot);
              publishSpan({ kind: 'compute', name: kernel, worker, ...outcome });
            }
            resolve();
          });
          const { scratch } = slot;
          slot.orders.push({ id, kernel, parts, place, ...after, scratch });
        }),
    );
    const finished = Promise.all(ends).then(() => {
      this.underWay = this.underWay.filter((other) => other !== job);
      if (job.failure) throw job.failure;
    });
    const job: JobUnderWay = { id, strips, place, finished };
    // Told where it is awaited.
    finished.catch(() => {});
    this.underWay.push(job);
    return job;
  }

  /** Has the workers leave all jobs under way. */
  private abandon(failure: Error): void {
    const counters = jobCounters(this.arena.memory);
    for (const job of this.underWay) {
      job.failure ??= failure;
      Atomics.store(counters, 2 * job.place, job.strips);
      Atomics.store(counters, 2 * job.place + 1, 0);
      Atomics.notify(counters, 2 * job.place + 1);
    }
  }

  /** Ends all workers at once; a job in work is rejected. */
  async close(): Promise<void> {
    this.isClosed = true;
    await Promise.all(this.slots.map(({ worker }) => worker?.terminate()));
  }

  /** Starts a worker in a slot that has none. */
  private acquire(slot: Slot): Promise<void> {
    return new Promise((resolve, reject) => {
      if (this.isClosed) return reject(closedError());
      this.acquirer.acquire(workerFile, { workerData: this.setup }, (error, worker) => {
        if (error) return reject(error);
        let failure: Error | undefined;
        worker.on('error', (thrown: Error) => {
          failure = thrown;
        });
        worker.once('exit', () => {
          const death = this.isClosed ? closedError() : (failure ?? new Error('A worker ended early'));
          delete slot.worker;
          slot.orders = [];
          this.abandon(death);
          for (const end of slot.ends.splice(0)) end(death);
          reject(death);
        });
        // Its first message says that it is ready, each further one that its parts of some jobs are done.
        worker.once('message', () => {
          slot.worker = worker;
          worker.on('message', (parts: JobPart[]) => {
            for (const part of parts) slot.ends.shift()?.(part);
          });
          resolve();
        });
      });
    });
  }
}

/** What each memory does of a job; `strips` where there is only one. */
function partsOf<K extends KernelName>(
  { memories }: Arena,
  kernel: K,
  given: StripArguments<K>,
  strips: number,
): StripPart[] {
  if (memories.length === 1) return [{ args: orderArguments(kernel, given), from: 0, count: strips }];
  requireHalos(kernel, given);
  return stripRanges(kernel, given).map((range, m) => ({
    args: orderArguments(kernel, given, m),
    ...range,
  }));
}

function closedError(): Error {
  return new Error('The pool is closed');
}
