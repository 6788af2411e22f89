/** The process of one check: gets its order from the desk, checks, reports, and ends. */
import { setPriority } from 'node:os';
import { callOptions } from '../option-names.js';
import type { CheckCommand, CheckMessage } from './check-job.js';

const controller = new AbortController();
/** A check that does not settle within this time after it was stopped is left to itself. */
const exitDelayMs = 400;

// A terminal sends Ctrl-C to every process: whether to go on is decided by the desk.
for (const name of ['SIGINT', 'SIGTERM'] as const) process.on(name, () => {});
process.on('disconnect', () => process.exit(1));

process.on('message', (command: CheckCommand) => {
  if (command.type === 'check') void run(command);
  else {
    controller.abort();
    setTimeout(() => process.exit(1), exitDelayMs).unref();
  }
});

async function run({ folder, options, nice }: Extract<CheckCommand, { type: 'check' }>): Promise<void> {
  setPriority(nice);
  const { optionFlag } = await import('../options/option-flag.js');
  callOptions((field) => optionFlag(field));
  const { LamellaError } = await import('../errors.js');
  const { check } = await import('../check/check.js');
  const { stripJpeg } = await import('../check/strip-pictures.js');
  const strips: Promise<void>[] = [];
  try {
    const report = await check(folder, options, {
      signal: controller.signal,
      onProgress: (done, frames) => send({ type: 'progress', done, frames }),
      onStrip: (strip, number) => {
        const sent = stripJpeg(strip).then((jpeg) =>
          send({ type: 'strip', number, jpeg: jpeg.toString('base64') }),
        );
        strips.push(sent);
      },
    });
    await Promise.all(strips);
    send({ type: 'report', report }, () => process.exit(0));
  } catch (error) {
    if (!(error instanceof LamellaError)) throw error;
    send({ type: 'failure', message: error.message }, () => process.exit(0));
  }
}

function send(message: CheckMessage, sent?: () => void): void {
  process.send?.(message, undefined, {}, () => sent?.());
}
