import { appendFileSync } from 'node:fs';
import { join } from 'node:path';
import { printable } from '../printable.js';
import { clockText } from './format-night.js';

export const logName = 'night.log';

/**
 * Adds a line with the time to the log of a batch folder. The log is for people alone: when it cannot be written,
 * the night list will report it where it is seen.
 */
export function logLine(out: string, line: string, now: Date): void {
  try {
    appendFileSync(join(out, logName), `${clockText(now)}  ${printable(line.replace(/\s*\n\s*/g, ' | '))}\n`);
  } catch {
    // See above.
  }
}
