import type { Output } from './system.js';

/** On a terminal one line that is written over, and wiped at the end; nothing elsewhere. */
export function showReading(stderr: Output, done: number, frames: number): void {
  if (stderr.isTTY !== true || process.env.TERM === 'dumb') return;
  const wipe = '\r\x1b[K';
  stderr.write(done < frames ? `${wipe}Reading frames: ${done} of ${frames}` : wipe);
}
