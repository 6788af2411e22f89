import { parentPort } from 'node:worker_threads';
import { LamellaError, named } from '../errors.js';
import type { TaskAnswer, TaskOrder } from './task-pool.js';

type Doers = { [name: string]: (task: never) => unknown };

/** Does what a `TaskPool` asks of this thread, each task by the function of its name. */
export function serveTasks(doers: Doers): void {
  const port = parentPort!;
  port.on('message', async ({ task }: TaskOrder<{ name: string }>) => {
    let answer: TaskAnswer<unknown>;
    try {
      answer = { answer: await doers[task.name](task as never) };
    } catch (error) {
      answer = failureOf(error as Error);
    }
    port.postMessage(answer);
  });
}

function failureOf(error: Error): TaskAnswer<unknown> {
  const { code } = error as NodeJS.ErrnoException;
  return {
    failed: error.stack ?? String(error),
    ...(error instanceof LamellaError && {
      told: { text: error.messageWith(named), exitCode: error.exitCode },
    }),
    ...(typeof code === 'string' && { code }),
  };
}
