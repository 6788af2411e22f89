/** The process of a night: gets its task from the desk, runs the batch, and stops it when the desk is gone. */
import { callOptions } from '../option-names.js';
import type { NightCommand, NightMessage, NightTask } from './night-job.js';
import { deskName, inDeskWords } from './option-labels.js';

const controller = new AbortController();

// A terminal sends Ctrl-C to every process: whether to go on is decided by the desk.
for (const name of ['SIGINT', 'SIGTERM'] as const) process.on(name, () => {});
process.on('disconnect', () => controller.abort());
process.on('message', (command: NightCommand) => {
  if (command.type === 'run') void run(command);
  else controller.abort();
});

async function run({ root, options }: NightTask): Promise<void> {
  callOptions(deskName);
  try {
    const { runBatch } = await import('../batch/run-batch.js');
    const outcome = await runBatch(root, options, {
      signal: controller.signal,
      onEvent: (event) => send({ type: 'event', event }),
    });
    send({ type: 'end', outcome }, () => process.exit(0));
  } catch (error) {
    const message = inDeskWords(error instanceof Error ? error.message : String(error));
    send({ type: 'failed', message }, () => process.exit(1));
  }
}

function send(message: NightMessage, sent?: () => void): void {
  if (process.connected) process.send?.(message, undefined, {}, () => sent?.());
  else sent?.();
}
