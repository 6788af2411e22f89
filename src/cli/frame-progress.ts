import { SingleBar } from 'cli-progress';
import { barOptions } from './progress-bar.js';
import type { Output } from './system.js';

/** Follows the reading of frames. */
export interface ReadingLine {
  onProgress: (done: number, frames: number) => void;
  /** Takes the line off the screen. */
  close: () => void;
}

/** On a terminal one line with a bar; nothing elsewhere. */
export function openReadingLine(stream: Output): ReadingLine {
  if (stream.isTTY !== true || process.env.TERM === 'dumb') return { onProgress() {}, close() {} };
  const bar = new SingleBar(barOptions(stream));
  return {
    onProgress(done, frames) {
      const text = { title: 'Reading frames', facts: `${done} of ${frames}` };
      if (bar.isActive) bar.update(done, text);
      else bar.start(frames, done, text);
      if (done >= frames) bar.stop();
    },
    close: () => bar.stop(),
  };
}
