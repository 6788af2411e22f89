import { MultiBar, type SingleBar } from 'cli-progress';
import type { BatchEvent } from '../batch/batch-events.js';
import { eventWords, stackProgressWords, wholeWords } from '../batch/night-words.js';
import { printable } from '../printable.js';
import { stageTitles } from './progress-text.js';
import type { Output, System } from './system.js';

/** Turns what a running batch tells into what its user sees. */
export interface BatchScreen {
  onEvent: (event: BatchEvent) => void;
  /** Leave the terminal clean. May be called more than once. */
  close: () => void;
}

const assumedColumns = 80;

/**
 * `json`: every event as one line on stdout. `quiet`: failures only. Otherwise words on stderr; on a terminal
 * also a line for each stack in work and one for the whole, which are drawn again and again.
 */
export function openBatchScreen(
  system: System,
  { json, quiet }: { json: boolean; quiet: boolean },
): BatchScreen {
  if (json) return jsonScreen(system.stdout);
  const onTerminal = system.stderr.isTTY === true && process.env.TERM !== 'dumb' && !quiet;
  return onTerminal ? terminalScreen(system.stderr) : plainScreen(system.stderr, quiet);
}

function jsonScreen(stdout: Output): BatchScreen {
  return {
    onEvent(event) {
      // Pictures and lists of files are in the night list; here they would drown the rest.
      stdout.write(`${JSON.stringify({ ...event, thumbnail: undefined, files: undefined })}\n`);
    },
    close() {},
  };
}

const loud = new Set<BatchEvent['event']>(['failed', 'put-off', 'notice']);

function plainScreen(stderr: Output, quiet: boolean): BatchScreen {
  return {
    onEvent(event) {
      if (quiet && !loud.has(event.event)) return;
      const words = eventWords(event);
      if (words === undefined || (event.event === 'whole' && !event.isNews)) return;
      stderr.write(`${printable(words)}\n`);
    },
    close() {},
  };
}

function terminalScreen(stderr: Output): BatchScreen {
  const bars = new MultiBar({
    stream: stderr,
    format: (_options, _params, payload: { text?: string }) =>
      // One column stays free: a line that fills the last one makes some terminals wrap.
      (payload.text ?? '').slice(0, (stderr.columns || assumedColumns) - 1),
    clearOnComplete: true,
    linewrap: true,
    forceRedraw: true,
  });
  const rows = new Map<string, SingleBar>();
  let whole: SingleBar | undefined;
  const print = (text: string): void => {
    if (whole || rows.size > 0) bars.log(`${printable(text)}\n`);
    else stderr.write(`${printable(text)}\n`);
  };
  const drop = (stack: string): void => {
    const row = rows.get(stack);
    if (row) bars.remove(row);
    rows.delete(stack);
  };

  return {
    onEvent(event) {
      switch (event.event) {
        case 'begin':
          print(eventWords(event) ?? '');
          rows.set(event.planned.stack, bars.create(1, 0, { text: printable(`${event.planned.stack} ...`) }));
          return;
        case 'merge':
          if (event.merge.event === 'progress') {
            const leftMs = event.merge.leftS === undefined ? undefined : event.merge.leftS * 1000;
            const share = leftMs === undefined ? undefined : event.elapsedMs / (event.elapsedMs + leftMs);
            const stage = stageTitles[event.merge.stage].toLowerCase();
            const text = printable(stackProgressWords(event.stack, stage, share, leftMs));
            rows.get(event.stack)?.update(0, { text });
          }
          return;
        case 'whole':
          whole ??= bars.create(1, 0, {});
          whole.update(0, { text: wholeWords(event) });
          return;
        case 'done':
        case 'failed':
          drop(event.stack);
          break;
      }
      const words = eventWords(event);
      if (words !== undefined) print(words);
    },
    close() {
      for (const stack of [...rows.keys()]) drop(stack);
      bars.stop();
      whole = undefined;
    },
  };
}
