import { SingleBar } from 'cli-progress';
import { wrapText } from '../check/wrap-text.js';
import { printable } from '../printable.js';
import { countOf } from '../stack/words.js';
import type { WatchEvent } from '../watch/watch-events.js';
import { coverageText, eventLines } from '../watch/watch-text.js';
import { type BarText, barOptions } from './progress-bar.js';
import type { System } from './system.js';

const bell = '\x07';
/** Of the further lines of a long one. */
const hangingIndent = 4;
const minTextWidth = 30;

/** Shows the events of a watch. */
export interface WatchScreen {
  onEvent: (event: WatchEvent) => void;
  /** Takes the line off the screen. */
  close: () => void;
}

export interface WatchScreenOptions {
  /** Every event as one line on stdout, instead of text. */
  json: boolean;
  /** Rings the bell of the terminal for each frame. */
  tone: boolean;
}

/** Between the rings for a frame with a fault, ms: far enough apart to be heard as several. */
const ringMs = 220;
const ringsOfFault = 3;

/** Text on stdout, and on a terminal a line below it that says how far the stack has come; or lines of JSON. */
export function openWatchScreen({ stdout, stderr }: System, { json, tone }: WatchScreenOptions): WatchScreen {
  const ring = (event: WatchEvent): void => {
    if (!tone || event.event !== 'frame' || stderr.isTTY !== true) return;
    const rings = event.isGood ? 1 : ringsOfFault;
    for (let i = 0; i < rings; i++) setTimeout(() => stderr.write(bell), i * ringMs).unref();
  };
  if (json) {
    return {
      onEvent(event) {
        stdout.write(`${JSON.stringify(event)}\n`);
        ring(event);
      },
      close() {},
    };
  }
  const bar =
    stderr.isTTY === true && process.env.TERM !== 'dumb' ? new SingleBar(barOptions(stderr)) : undefined;
  let shown: { done: number; all: number; text: BarText } | undefined;
  const draw = (): void => {
    if (bar && shown) bar.start(shown.all, shown.done, shown.text);
  };
  const close = (): void => {
    if (bar?.isActive) bar.stop();
  };
  return {
    onEvent(event) {
      close();
      for (const line of eventLines(event)) {
        for (const part of wrapped(printable(line), stdout.columns)) stdout.write(`${part}\n`);
      }
      ring(event);
      if (event.event === 'begin') {
        stderr.write(
          'Where a frame is sharp shows from the third on, how its step was from about the sixth. Ctrl-C ends the watch.\n',
        );
      }
      if (event.event === 'arriving') shown = shown && { ...shown, text: arrivingText(event.name) };
      else if (event.event === 'frame') shown = progressOf(event);
      if (event.event !== 'end') draw();
    },
    close,
  };
}

/** A line within the width of a terminal, what follows its first part indented. */
function wrapped(line: string, columns: number | undefined): string[] {
  if (!columns || line.length < columns) return [line];
  const indent = /^ */.exec(line)![0].length;
  const inner = Math.max(minTextWidth, columns - 1 - indent - hangingIndent);
  return wrapText(line.slice(indent), inner).map(
    (part, i) => ' '.repeat(indent + (i === 0 ? 0 : hangingIndent)) + part,
  );
}

function arrivingText(name: string): BarText {
  return { title: printable(`${name} is arriving ...`) };
}

function progressOf(event: WatchEvent & { event: 'frame' }): { done: number; all: number; text: BarText } {
  const { frames, framesToGo, framesToGoBy, coveredPercent } = event;
  const byPlan = framesToGoBy === 'plan' && framesToGo !== null;
  return {
    done: byPlan ? frames : (coveredPercent ?? 0),
    all: byPlan ? frames + framesToGo : 100,
    text: { title: `${countOf(frames, 'frame')} in,`, facts: coverageText(event) },
  };
}
