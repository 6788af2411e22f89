/** The process of one stack: gets its job from the batch that started it, merges, reports how it ended, and ends. */
import { setPriority } from 'node:os';
import type { MergeEvent } from '../merge/merge-event.js';
import { callOptions } from '../option-names.js';
import { optimiseLater } from '../workers/optimise-later.js';
import {
  flagsArgument,
  type StackCommand,
  type StackJob,
  type StackMessage,
  type StackPicture,
} from './stack-job.js';

/** Progress is passed on this often. */
const progressMs = 500;

/** A merge that does not settle within this time after it was stopped is left to itself. */
const exitDelayMs = 400;

const controller = new AbortController();

optimiseLater();

// A terminal sends Ctrl-C to every process: whether to go on is decided by the batch.
for (const name of ['SIGINT', 'SIGTERM'] as const) process.on(name, () => {});

// The channel closes when the batch is gone, however it went. What is left aside its next start removes.
process.on('disconnect', () => process.exit(1));

process.on('message', (command: StackCommand) => {
  if (command.type === 'merge') void run(command.job, command.showsPicture);
  else stop();
});

async function run(job: StackJob, showsPicture: boolean): Promise<void> {
  // Before threads are started, which inherit it.
  if (job.nice > 0) setPriority(job.nice);
  if (process.argv.includes(flagsArgument)) {
    const { optionFlag } = await import('../options/option-flag.js');
    callOptions((field) => optionFlag(field));
  }
  const { mergeStack } = await import('./merge-stack.js');
  let reportedAt = 0;
  const onEvent = (event: MergeEvent): void => {
    if (event.event === 'progress') {
      const now = performance.now();
      if (now - reportedAt < progressMs) return;
      reportedAt = now;
    }
    send({ type: 'event', event });
  };
  const onPicture = (picture: StackPicture) => send({ type: 'picture', picture });
  const end = await mergeStack(job, onEvent, controller.signal, showsPicture ? onPicture : undefined);
  send({ type: 'end', end }, () => process.exit(0));
}

function stop(): void {
  controller.abort();
  setTimeout(() => process.exit(1), exitDelayMs).unref();
}

function send(message: StackMessage, sent?: () => void): void {
  process.send?.(message, undefined, {}, () => sent?.());
}
