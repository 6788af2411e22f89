import type { MergeEvent } from '../merge/merge-event.js';
import { stageTitles } from '../merge/stage-titles.js';
import { printable } from '../printable.js';
import { previewText } from '../result/preview-text.js';
import { spanText } from '../stack/words.js';
import { progressFacts } from './progress-text.js';
import type { Output, System } from './system.js';
import { openTerminalLine } from './terminal-line.js';

/** Shows the events of a running merge to its user. */
export interface Reporter {
  onEvent: (event: MergeEvent) => void;
  /** The run failed: for programs that follow events; people get the message from the caller. */
  onFailure: (message: string, exitCode: number) => void;
  /** Leave the terminal clean. May be called more than once. */
  close: () => void;
}

/** Plain progress lines a stage, at most. */
const linesPerStage = 10;

/**
 * `json`: every event as one line on stdout. `quiet`: warnings only. Otherwise text on stderr, with
 * a progress line on a terminal, and sparse lines without control codes elsewhere.
 */
export function openReporter(system: System, { json, quiet }: { json: boolean; quiet: boolean }): Reporter {
  if (json) return jsonReporter(system.stdout);
  if (quiet) return textReporter({ ...plainLines(system.stderr), stage() {}, progress() {} }, false);
  const onTerminal = system.stderr.isTTY === true && process.env.TERM !== 'dumb';
  return textReporter(onTerminal ? openTerminalLine(system.stderr) : plainLines(system.stderr), true);
}

function jsonReporter(stdout: Output): Reporter {
  const print = (event: object): void => {
    stdout.write(`${JSON.stringify(event)}\n`);
  };
  return {
    onEvent: print,
    onFailure: (message, exitCode) => print({ event: 'error', message, exitCode }),
    close() {},
  };
}

/** The verdict on a merge without findings. */
const plainVerdict = 'Merged.';

const rankTitles = { spoils: 'Spoils the picture', flaw: 'Flaw' } as const;

type Lines = ReturnType<typeof openTerminalLine>;

function plainLines(stderr: Output): Lines {
  let printed = 0;
  const print = (text: string): void => {
    stderr.write(`${text}\n`);
  };
  return {
    stage(stage) {
      printed = 0;
      print(stageTitles[stage]);
    },
    progress(event) {
      const tenth = Math.floor((linesPerStage * event.done) / Math.max(1, event.frames));
      if (tenth <= printed) return;
      printed = tenth;
      print(`${stageTitles[event.stage]}: ${progressFacts(event)}`);
    },
    print,
    close() {},
  };
}

function textReporter(lines: Lines, chatty: boolean): Reporter {
  return {
    onEvent(event) {
      switch (event.event) {
        case 'start': {
          const { folder, frames, size, preview } = event;
          const kind = preview ? ', for a preview' : '';
          if (chatty)
            lines.print(
              printable(`${folder}: ${frames} frames of ${size.width} x ${size.height} pixels${kind}`),
            );
          break;
        }
        case 'stage':
          lines.stage(event.stage);
          break;
        case 'progress':
          lines.progress(event);
          break;
        case 'note':
          if (chatty) lines.print(printable(`Note: ${event.message}`));
          break;
        case 'warning':
          lines.print(printable(`Warning: ${event.message}`));
          break;
        case 'finding': {
          const { rank, message, advice } = event.finding;
          if (rank !== 'note') lines.print(printable(`${rankTitles[rank]}: ${message} ${advice}`.trim()));
          break;
        }
        case 'done': {
          lines.close();
          const { fit, verdict, wallMs, files } = event;
          // What has to be looked at is no end of the work.
          const said = `${fit ? 'Done' : 'Written'} in ${spanText(wallMs)}: ${files.join(', ')}`;
          if (chatty) lines.print(printable(said));
          if (event.preview) lines.print(previewText(event.preview));
          if (!fit || (chatty && verdict !== plainVerdict)) lines.print(printable(verdict));
          break;
        }
      }
    },
    onFailure() {},
    close: lines.close,
  };
}
