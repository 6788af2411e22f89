/** The process of a watch: gets its folder from the desk, tells what it sees, and ends when it is told to. */
import { LamellaError } from '../errors.js';
import { callOptions } from '../option-names.js';
import { optionFlag } from '../options/option-flag.js';
import { watch } from '../watch/watch.js';
import type { WatchEvent } from '../watch/watch-events.js';
import { coverageText, eventLines } from '../watch/watch-text.js';
import type { WatchCommand, WatchMessage } from './watch-messages.js';

const controller = new AbortController();

// A terminal sends Ctrl-C to every process: the desk decides when a watch ends.
for (const name of ['SIGINT', 'SIGTERM'] as const) process.on(name, () => {});
// The channel closes when the desk is gone, however it went.
process.on('disconnect', () => process.exit(1));
// Flags are what the desk turns into its own words.
callOptions((field) => optionFlag(field));

process.on('message', (command: WatchCommand) => {
  if (command.type === 'stop') controller.abort();
  else void run(command.folder, command.options);
});

async function run(folder: string, options: (WatchCommand & { type: 'watch' })['options']): Promise<void> {
  try {
    await watch(folder, options, {
      signal: controller.signal,
      onEvent: tell,
      onJudged: (frames, findings) => send({ type: 'judged', frames, findings }),
    });
  } catch (error) {
    const message = error instanceof LamellaError ? error.messageWith(optionFlag) : String(error);
    send({ type: 'failed', message });
  }
  process.disconnect();
}

function tell(event: WatchEvent): void {
  const coverage = event.event === 'frame' ? { coverage: coverageText(event) } : {};
  send({ type: 'event', event, lines: eventLines(event), ...coverage });
}

function send(message: WatchMessage): void {
  process.send?.(message);
}
