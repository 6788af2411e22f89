import { MultiBar, type SingleBar } from 'cli-progress';
import type { BatchEvent } from '../batch/batch-events.js';
import { batchProgressText, eventText, stackProgressFacts } from '../batch/format-night.js';
import { stageTitles } from '../merge/stage-titles.js';
import { printable } from '../printable.js';
import { barOptions } from './progress-bar.js';
import type { Output, System } from './system.js';

/** Shows the events of a running batch to its user. */
export interface BatchScreen {
  onEvent: (event: BatchEvent) => void;
  /** Leave the terminal clean. May be called more than once. */
  close: () => void;
}

/**
 * `json`: every event as one line on stdout. `quiet`: failures only. Otherwise text on stderr; on a terminal
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
      const line = eventText(event);
      if (line === undefined || (event.event === 'whole' && !event.isNews)) return;
      stderr.write(`${printable(line)}\n`);
    },
    close() {},
  };
}

function terminalScreen(stderr: Output): BatchScreen {
  const bars = new MultiBar({ ...barOptions(stderr), forceRedraw: true });
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
          print(eventText(event) ?? '');
          rows.set(
            event.planned.stack,
            bars.create(1, 0, { title: printable(`${event.planned.stack} ...`) }),
          );
          return;
        case 'merge':
          if (event.merge.event === 'progress') {
            const leftMs = event.merge.leftS === undefined ? undefined : event.merge.leftS * 1000;
            const share = leftMs === undefined ? undefined : event.elapsedMs / (event.elapsedMs + leftMs);
            const stage = stageTitles[event.merge.stage].toLowerCase();
            const facts = stackProgressFacts(share, leftMs);
            rows
              .get(event.stack)
              ?.update(share ?? 0, { title: printable(`${event.stack}: ${stage}`), facts });
          }
          return;
        case 'whole':
          whole ??= bars.create(event.total, 0, { title: 'Batch' });
          whole.setTotal(event.total);
          whole.update(event.done + event.failed, { title: 'Batch', facts: batchProgressText(event) });
          return;
        case 'done':
        case 'failed':
          drop(event.stack);
          break;
      }
      const line = eventText(event);
      if (line !== undefined) print(line);
    },
    close() {
      for (const stack of [...rows.keys()]) drop(stack);
      bars.stop();
      whole = undefined;
    },
  };
}
