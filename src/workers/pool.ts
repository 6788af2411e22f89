import { fileURLToPath } from 'node:url';
import type { Worker } from 'node:worker_threads';
import Pool from 'worker-threads-pool';
import type { Arena } from '../kernels/arena.js';
import { compileKernels, type KernelName, orderArguments, type StripArguments } from '../kernels/kernels.js';
import { threadsInAddressSpace } from './address-space.js';

/** What a worker gets at its start. */
export interface WorkerSetup {
  module: WebAssembly.Module;
  memory: WebAssembly.Memory;
}

/** One kernel over `strips` strips; every worker pulls strips until none are left. */
export interface StripJob {
  id: number;
  kernel: KernelName;
  /** The kernel's parameters without its last two, strip and scratch. */
  args: number[];
  strips: number;
  /** Address of the shared strip counter. */
  counter: number;
  scratch: number;
}

const counterAddress = 64;

/**
 * Long-lived workers over the arena's shared memory. It knows strips and kernels, not pictures. One job runs
 * at a time; its strips may not depend on each other. Results do not depend on the number of workers.
 */
export class StripPool {
  private jobId = 0;
  private failure: Error | undefined;
  private rejectJob: ((error: Error) => void) | undefined;

  private constructor(
    private readonly arena: Arena,
    private readonly workers: Worker[],
    private readonly scratch: number[],
  ) {
    for (const worker of workers) {
      worker.on('error', (error) => this.fail(error));
      worker.on('exit', () => this.fail(new Error('A worker ended early')));
    }
  }

  /**
   * Starts `wanted` workers, or as many as the address space has room for, each with `scratchBytes` of the arena for itself.
   */
  static async start(arena: Arena, wanted: number, scratchBytes: number): Promise<StripPool> {
    const threads = threadsInAddressSpace(wanted);
    const scratch = Array.from({ length: threads }, () => arena.take(scratchBytes));
    const setup: WorkerSetup = { module: await compileKernels(), memory: arena.memory };
    const acquirer = new Pool({ max: threads });
    const file = fileURLToPath(new URL('../../dist/workers/worker.js', import.meta.url));
    const workers = await Promise.all(
      scratch.map(
        () =>
          new Promise<Worker>((resolve, reject) => {
            acquirer.acquire(file, { workerData: setup }, (error, worker) => {
              if (error) return reject(error);
              worker.once('error', reject);
              worker.once('message', () => {
                worker.off('error', reject);
                resolve(worker);
              });
            });
          }),
      ),
    );
    return new StripPool(arena, workers, scratch);
  }

  /** Runs a kernel over all strips, its arguments given by name. Rejects when a worker fails or the pool is closed. */
  async run<K extends KernelName>(kernel: K, given: StripArguments<K>, strips: number): Promise<void> {
    if (this.failure) throw this.failure;
    const args = orderArguments(kernel, given);
    const id = ++this.jobId;
    new Int32Array(this.arena.memory.buffer, counterAddress, 1)[0] = 0;
    const busy = this.workers.slice(0, strips);
    await new Promise<void>((resolve, reject) => {
      this.rejectJob = reject;
      let left = busy.length;
      busy.forEach((worker, i) => {
        worker.once('message', () => {
          left--;
          if (left === 0) resolve();
        });
        const job: StripJob = { id, kernel, args, strips, counter: counterAddress, scratch: this.scratch[i] };
        worker.postMessage(job);
      });
    });
    this.rejectJob = undefined;
  }

  /** Ends all workers at once; a job in work is rejected. */
  async close(): Promise<void> {
    this.fail(new Error('The pool is closed'));
    await Promise.all(this.workers.map((worker) => worker.terminate()));
  }

  private fail(error: Error): void {
    this.failure ??= error;
    this.rejectJob?.(this.failure);
  }
}
