import { Worker } from 'node:worker_threads';
import { errorOf, type ThreadFailure } from './thread-failure.js';

/** A task on its way to a thread, and what comes back. */
export interface TaskOrder<Task> {
  task: Task;
}
export type TaskAnswer<Answer> = { answer: Answer } | ThreadFailure;

interface Waiting {
  make: (thread: number) => unknown;
  resolve: (answer: unknown) => void;
  reject: (error: Error) => void;
}

/**
 * Threads that do tasks: plain data there and back, while pixels lie in memory that is shared. Tasks start in the order in
 * which they were given. A thread that ends early, or a task that fails, fails all tasks that are not done. To be closed.
 */
export class TaskPool<Tasks extends { [name: string]: { task: object; answer: unknown } }> {
  private readonly workers: Worker[] = [];
  /** Threads that have nothing to do. */
  private readonly idle: number[];
  private readonly waiting: Waiting[] = [];
  private readonly running = new Map<number, Waiting>();
  private failure: Error | undefined;

  /**
   * @param file Of the code of a thread, which calls `serveTasks`.
   * @param setup Its `workerData`, to which its number is added as `thread`.
   */
  constructor(
    file: string,
    setup: object,
    readonly threads: number,
  ) {
    this.idle = Array.from({ length: threads }, (_, thread) => thread);
    for (const thread of this.idle) {
      const worker = new Worker(file, { workerData: { ...setup, thread } });
      worker.on('message', (answer: TaskAnswer<unknown>) => this.take(thread, answer));
      worker.on('error', (error: Error) => this.fail(error));
      worker.on('exit', () => this.fail(new Error('A thread ended early')));
      this.workers.push(worker);
    }
  }

  /**
   * Does a task once a thread is free.
   *
   * @param make Makes what the task is told, for the thread that will do it.
   */
  run<Name extends keyof Tasks & string>(
    name: Name,
    make: (thread: number) => Tasks[Name]['task'],
  ): Promise<Tasks[Name]['answer']> {
    return new Promise((resolve, reject) => {
      if (this.failure) return reject(this.failure);
      this.waiting.push({ make: (thread) => ({ name, ...make(thread) }), resolve, reject });
      this.start();
    });
  }

  /** Ends all threads, whatever they are at. */
  async close(): Promise<void> {
    for (const worker of this.workers) worker.removeAllListeners('exit');
    this.fail(new Error('The threads have ended'));
    await Promise.all(this.workers.map((worker) => worker.terminate()));
  }

  private start(): void {
    while (this.waiting.length > 0 && this.idle.length > 0) {
      const thread = this.idle.shift()!;
      const next = this.waiting.shift()!;
      this.running.set(thread, next);
      const order: TaskOrder<unknown> = { task: next.make(thread) };
      this.workers[thread].postMessage(order);
    }
  }

  private take(thread: number, answer: TaskAnswer<unknown>): void {
    if ('failed' in answer) {
      this.fail(errorOf(answer));
      return;
    }
    const done = this.running.get(thread);
    this.running.delete(thread);
    this.idle.push(thread);
    done?.resolve(answer.answer);
    this.start();
  }

  private fail(error: Error): void {
    this.failure ??= error;
    const lost = [...this.running.values(), ...this.waiting.splice(0)];
    this.running.clear();
    for (const { reject } of lost) reject(this.failure);
  }
}
