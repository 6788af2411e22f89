import { fileURLToPath } from 'node:url';
import type { Worker } from 'node:worker_threads';
import Pool from 'worker-threads-pool';
import type { Arena } from '../kernels/arena.js';
import { requireHalos, sharedRows, stripRanges } from '../kernels/kernel-rows.js';
import { compileKernels, type KernelName, orderArguments, type StripArguments } from '../kernels/kernels.js';
import { threadsInAddressSpace } from './address-space.js';
import { publishSpan } from './spans.js';

/** What a worker gets at its start. */
export interface WorkerSetup {
  module: WebAssembly.Module;
  memories: readonly WebAssembly.Memory[];
}

/** What a job does in one memory: strips `from` to `from + count - 1`. */
export interface StripPart {
  /** The kernel's parameters without its last two, strip and scratch. */
  args: number[];
  from: number;
  count: number;
}

/** One kernel over strips of all memories; every worker pulls strips until none are left. */
export interface StripJob {
  id: number;
  kernel: KernelName;
  /** One a memory. */
  parts: StripPart[];
  /** Address of the shared strip counter. */
  counter: number;
  scratch: number;
}

/** What a worker answers when its part of a job is done. */
export interface JobPart {
  fromMs: number;
  toMs: number;
}

const counterAddress = 64;

const workerFile = fileURLToPath(new URL('../../dist/workers/worker.js', import.meta.url));

/** A slot in the pool, which one worker after another may hold. */
interface Slot {
  readonly scratch: number;
  /** Absent before the first job, and once it has died. */
  worker?: Worker;
  /** Told when the worker has done its part of the job in work, or has died. */
  end?: (outcome: JobPart | Error) => void;
}

/**
 * Long-lived workers over the arena's shared memory. It knows strips and kernels, not pictures. One job runs
 * at a time; its strips may not depend on each other. Results do not depend on the number of workers.
 *
 * A worker that dies takes its job with it: the strip that it was writing may be half written, so the job is rejected.
 * The next job gets another worker in its slot.
 */
export class StripPool {
  private jobId = 0;
  private isClosed = false;
  private readonly acquirer: Pool;
  private readonly slots: readonly Slot[];

  private constructor(
    private readonly arena: Arena,
    private readonly setup: WorkerSetup,
    scratch: readonly number[],
  ) {
    this.acquirer = new Pool({ max: scratch.length });
    this.slots = scratch.map((address) => ({ scratch: address }));
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
   * Runs a kernel over all strips, its arguments given by name, in each memory over those whose rows it computes. Rows that
   * others read are shared among the memories then. Rejects when a worker dies or the pool is closed.
   */
  async run<K extends KernelName>(kernel: K, given: StripArguments<K>, wanted: number): Promise<void> {
    const parts = partsOf(this.arena, kernel, given, wanted);
    const strips = parts.reduce((sum, { count }) => sum + count, 0);
    const busy = this.slots.slice(0, strips);
    for (const slot of busy) if (!slot.worker) await this.acquire(slot);
    if (this.isClosed) throw closedError();
    const counter = new Int32Array(this.arena.memory.buffer, counterAddress, 1);
    counter[0] = 0;
    const id = ++this.jobId;
    const deaths: Error[] = [];
    // Also where one has died: the others must have left the job before the next one sets the counter back.
    await Promise.all(
      busy.map(
        (slot) =>
          new Promise<void>((resolve) => {
            slot.end = (outcome) => {
              delete slot.end;
              if (outcome instanceof Error) {
                deaths.push(outcome);
                Atomics.store(counter, 0, strips);
              } else {
                const worker = this.slots.indexOf(slot);
                publishSpan({ kind: 'compute', name: kernel, worker, ...outcome });
              }
              resolve();
            };
            const { scratch } = slot;
            const job: StripJob = { id, kernel, parts, counter: counterAddress, scratch };
            slot.worker?.postMessage(job);
          }),
      ),
    );
    if (deaths.length > 0) throw deaths[0];
    if (parts.length > 1) for (const rows of sharedRows(kernel, given)) this.arena.share(rows);
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
          slot.end?.(death);
          reject(death);
        });
        // Its first message says that it is ready, each further one that its part of a job is done.
        worker.once('message', () => {
          slot.worker = worker;
          worker.on('message', (part: JobPart) => slot.end?.(part));
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
