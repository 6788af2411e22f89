import { parentPort } from 'node:worker_threads';
import type { TaskAnswer, TaskOrder } from './task-pool.js';
import { failureOf } from './thread-failure.js';

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
