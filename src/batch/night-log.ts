import { closeSync, constants, fstatSync, openSync, writeSync } from 'node:fs';
import { join } from 'node:path';
import { printable } from '../printable.js';
import { clockText } from './format-night.js';

export const logName = 'night.log';

const { O_WRONLY, O_APPEND, O_CREAT, O_NONBLOCK, O_NOFOLLOW } = constants;
/** Neither waits for a pipe nor follows a link to another file. Windows has neither flag. */
const access = O_WRONLY | O_APPEND | O_CREAT | (O_NONBLOCK ?? 0) | (O_NOFOLLOW ?? 0);

/**
 * Adds a line with the time to the log of a batch folder. The log is for people alone: when it cannot be written,
 * the night list will report it where it is seen.
 */
export function logLine(out: string, line: string, now: Date): void {
  try {
    const file = openSync(join(out, logName), access, 0o666);
    try {
      if (!fstatSync(file).isFile()) return;
      writeSync(file, `${clockText(now)}  ${printable(line.replace(/\s*\n\s*/g, ' | '))}\n`);
    } finally {
      closeSync(file);
    }
  } catch {
    // See above.
  }
}
