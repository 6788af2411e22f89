import progressBars, { type Options, type Params } from 'cli-progress';
import type { Output } from './system.js';

// Node finds no named export in this part of the package.
const { BarFormat: drawBar } = progressBars.Format;

const assumedColumns = 80;
const longestBar = 30;
const shortestBar = 8;

/** The text of a line with a bar. */
export interface BarText {
  /** Before the bar. */
  title: string;
  /** Behind the bar; absent where there is nothing to measure yet, and then there is no bar. */
  facts?: string;
}

/** Settings of every bar: one line that is drawn again and again, and wiped at the end. */
export function barOptions(stream: Output): Options {
  return {
    stream,
    format: (options, params, text) => barLine(options, params, text, stream.columns || assumedColumns),
    barsize: longestBar,
    barIncompleteChar: ' ',
    clearOnComplete: true,
    // Switching line wrap off would leave the terminal so when the process is killed; the line is cut instead.
    linewrap: true,
  };
}

/** One line for a terminal of `columns`: title, a bar where there is room for one, facts. */
function barLine(options: Options, { progress }: Params, { title, facts }: BarText, columns: number): string {
  // One column stays free: a line that fills the last one makes some terminals wrap.
  const maxLength = Math.max(0, columns - 1);
  if (facts === undefined) return title.slice(0, maxLength);
  const room = Math.min(longestBar, maxLength - title.length - facts.length - ' [] '.length);
  if (room < shortestBar) return `${title} ${facts}`.slice(0, maxLength);
  return `${title} [${drawBar(progress, { ...options, barsize: room })}] ${facts}`;
}
