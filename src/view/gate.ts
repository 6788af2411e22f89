import { InterruptedError } from '../errors.js';

/** Lets a few at a time do heavy work; who comes last goes first, for that is what a page shows now. */
export class Gate {
  private running = 0;
  private readonly waiting: (() => void)[] = [];

  constructor(private readonly slots: number) {}

  /** Throws InterruptedError when nobody wants the work any more once its turn has come. */
  async pass<T>(work: () => Promise<T>, signal?: AbortSignal): Promise<T> {
    if (this.running < this.slots) this.running++;
    else await new Promise<void>((resolve) => this.waiting.push(resolve));
    try {
      if (signal?.aborted) throw new InterruptedError();
      return await work();
    } finally {
      const next = this.waiting.pop();
      if (next) next();
      else this.running--;
    }
  }
}

/**
 * Work that several requests wait for together. Where the one that began it was given up, the next that still waits
 * begins it anew.
 *
 * @param begin Finds the work that is under way, or begins it for this request.
 */
export async function shareWork<T>(begin: () => Promise<T>, signal?: AbortSignal): Promise<T> {
  for (;;) {
    try {
      return await begin();
    } catch (error) {
      if (!(error instanceof InterruptedError) || signal?.aborted) throw error;
    }
  }
}
