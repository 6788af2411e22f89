import progressBars, { type Options, type Params } from 'cli-progress';
import type { Output } from './system.js';

// Node finds no named export in this part of the package.
const { BarFormat: drawBar } = progressBars.Format;

const assumedColumns = 80;
const longestBar = 30;
const shortestBar = 8;

/** What a line with a bar says. */
export interface BarWords {
  /** Before the bar. */
  title: string;
  /** Behind the bar; absent where there is nothing to measure yet, and then there is no bar. */
  facts?: string;
}

/** Settings of every bar: one line that is drawn again and again, and wiped at the end. */
export function barOptions(stream: Output): Options {
  return {
    stream,
    format: (options, params, words) => barLine(options, params, words, stream.columns || assumedColumns),
    barsize: longestBar,
    barIncompleteChar: ' ',
    clearOnComplete: true,
    // Switching line wrap off would leave the terminal so when the process is killed; the line is cut instead.
    linewrap: true,
  };
}

/** One line for a terminal of `columns`: title, a bar where there is room for one, facts. */
function barLine(
  options: Options,
  { progress }: Params,
  { title, facts }: BarWords,
  columns: number,
): string {
  // One column stays free: a line that fills the last one makes some terminals wrap.
  const most = Math.max(0, columns - 1);
  if (facts === undefined) return title.slice(0, most);
  const room = Math.min(longestBar, most - title.length - facts.length - ' [] '.length);
  if (room < shortestBar) return `${title} ${facts}`.slice(0, most);
  return `${title} [${drawBar(progress, { ...options, barsize: room })}] ${facts}`;
}
