import { parentPort, Worker } from 'node:worker_threads';
import { errorOf, failureOf, type ThreadFailure } from './thread-failure.js';

/** Functions that a thread offers, of plain data; `tell` passes what is to be known before they are done. */
export type Callable = { [name: string]: (given: never, tell: (news: unknown) => void) => unknown };

type Given<Offered extends Callable, Name extends keyof Offered> = Parameters<Offered[Name]>[0];
type Answer<Offered extends Callable, Name extends keyof Offered> = Awaited<ReturnType<Offered[Name]>>;

interface Call {
  id: number;
  name: string;
  given: unknown;
}
type Reply = { id: number } & ({ answer: unknown } | ThreadFailure | { news: unknown });

interface Waiting {
  resolve: (answer: never) => void;
  reject: (error: Error) => void;
  onNews?: ((news: never) => void) | undefined;
}

/** A thread that is called: calls are begun in their order, and do not wait for those before them. To be closed. */
export class CalledThread<Offered extends Callable> {
  private readonly worker: Worker;
  private readonly waiting = new Map<number, Waiting>();
  private calls = 0;
  private failure: Error | undefined;
  private hasEnded = false;
  private ending: Promise<void> | undefined;

  /** @param file Of the code of the thread, which calls `serveCalls`. */
  constructor(file: string) {
    this.worker = new Worker(file);
    this.worker.on('message', (reply: Reply) => this.take(reply));
    this.worker.on('error', (error: Error) => this.fail(error));
    this.worker.on('exit', () => {
      this.hasEnded = true;
      this.fail(new Error('A thread ended early'));
    });
  }

  /** @param onNews Gets what the function tells before it is done. */
  call<Name extends keyof Offered & string>(
    name: Name,
    given: Given<Offered, Name>,
    onNews?: (news: never) => void,
  ): Promise<Answer<Offered, Name>> {
    return new Promise((resolve, reject) => {
      if (this.failure) return reject(this.failure);
      const id = ++this.calls;
      this.waiting.set(id, { resolve, reject, onNews });
      this.worker.postMessage({ id, name, given } satisfies Call);
    });
  }

  /** Fails what is under way; done when the thread has ended itself, as a last call tells it to. */
  close(last: keyof Offered & string): Promise<void> {
    this.ending ??= new Promise((resolve) => {
      if (this.hasEnded) return resolve();
      this.fail(new Error('The thread has ended'));
      this.worker.on('exit', () => resolve());
      this.worker.postMessage({ id: 0, name: last, given: undefined } satisfies Call);
    });
    return this.ending;
  }

  private take(reply: Reply): void {
    const waiting = this.waiting.get(reply.id);
    if (!waiting) return;
    if ('news' in reply) {
      waiting.onNews?.(reply.news as never);
      return;
    }
    this.waiting.delete(reply.id);
    if ('failed' in reply) waiting.reject(errorOf(reply));
    else waiting.resolve(reply.answer as never);
  }

  private fail(error: Error): void {
    this.failure ??= error;
    const lost = [...this.waiting.values()];
    this.waiting.clear();
    for (const { reject } of lost) reject(this.failure);
  }
}

/** Does what is called in this thread. */
export function serveCalls(offered: Callable): void {
  const port = parentPort!;
  port.on('message', async ({ id, name, given }: Call) => {
    let reply: Reply;
    try {
      reply = { id, answer: await offered[name](given as never, (news) => port.postMessage({ id, news })) };
    } catch (error) {
      reply = { id, ...failureOf(error as Error) };
    }
    port.postMessage(reply);
  });
}
