import { appendFileSync } from 'node:fs';
import { join } from 'node:path';
import { printable } from '../printable.js';
import { clockText } from './night-words.js';

export const logName = 'night.log';

/**
 * Adds a line with the time to the log of a batch folder. The log is for people alone: when it cannot be written,
 * the night list will tell so in a better place.
 */
export function logLine(out: string, line: string, now: Date): void {
  try {
    appendFileSync(join(out, logName), `${clockText(now)}  ${printable(line.replace(/\s*\n\s*/g, ' | '))}\n`);
  } catch {
    // See above.
  }
}
