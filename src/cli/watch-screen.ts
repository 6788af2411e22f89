import { SingleBar } from 'cli-progress';
import { printable } from '../printable.js';
import type { WatchEvent } from '../watch/watch-events.js';
import { coverageText, eventLines } from '../watch/watch-text.js';
import { type BarText, barOptions } from './progress-bar.js';
import type { System } from './system.js';

/** Shows the events of a watch. */
export interface WatchScreen {
  onEvent: (event: WatchEvent) => void;
  /** Takes the line off the screen. */
  close: () => void;
}

/**
 * `json`: every event as one line on stdout. Else text on stdout, and on a terminal a line below it that says how far
 * the stack has come.
 */
export function openWatchScreen({ stdout, stderr }: System, json: boolean): WatchScreen {
  if (json) return { onEvent: (event) => stdout.write(`${JSON.stringify(event)}\n`), close() {} };
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
      for (const line of eventLines(event)) stdout.write(`${printable(line)}\n`);
      if (event.event === 'begin') stderr.write('Ctrl-C ends the watch.\n');
      if (event.event === 'arriving') shown = shown && { ...shown, text: arrivingText(event.name) };
      else if (event.event === 'frame') shown = progressOf(event);
      if (event.event !== 'end') draw();
    },
    close,
  };
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
    text: { title: `${frames} in`, facts: coverageText(event) },
  };
}
