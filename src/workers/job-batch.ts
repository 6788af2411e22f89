import type { KernelName, StripArguments } from '../kernels/kernels.js';
import type { StripPool } from './pool.js';

/** Jobs that workers do one after the other without this thread between them. */
export class JobBatch {
  private readonly jobs: Promise<void>[] = [];

  constructor(private readonly pool: Pick<StripPool, 'run'> & Partial<Pick<StripPool, 'endGroup'>>) {}

  /** As `StripPool.run`, without waiting. */
  run<K extends KernelName>(kernel: K, given: StripArguments<K>, strips: number): void {
    this.jobs.push(this.pool.run(kernel, given, strips));
  }

  /** Waits for all of them. Rejects where `StripPool.run` does. */
  async done(): Promise<void> {
    this.pool.endGroup?.();
    await Promise.all(this.jobs.splice(0));
  }
}
