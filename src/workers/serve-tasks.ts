import { parentPort } from 'node:worker_threads';
import type { TaskAnswer, TaskOrder } from './task-pool.js';
import { failureOf } from './thread-failure.js';

/** What does the tasks of a `TaskPool`, each by its name. */
export type Doers<Tasks extends { [Name in keyof Tasks]: { task: object; answer: unknown } }> = {
  [Name in keyof Tasks]: (task: Tasks[Name]['task']) => Tasks[Name]['answer'];
};

/** Does what a `TaskPool` asks of this thread, each task by the function of its name. */
export function serveTasks(doers: { [name: string]: (task: never) => unknown }): void {
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
