import { SingleBar } from 'cli-progress';
import type { MergeStage } from '../merge/merge-event.js';
import { stageTitles } from '../merge/stage-titles.js';
import { type BarText, barOptions } from './progress-bar.js';
import { type ProgressEvent, progressFacts } from './progress-text.js';
import type { Output } from './system.js';

/** The one line at the foot of a terminal that is drawn again and again; lines for keeping go above it. */
export interface TerminalLine {
  stage: (stage: MergeStage) => void;
  progress: (event: ProgressEvent) => void;
  /** Print whole lines above. */
  print: (text: string) => void;
  /** Take the line off the screen. */
  close: () => void;
}

export function openTerminalLine(stream: Output): TerminalLine {
  const bar = new SingleBar(barOptions(stream));
  let shown = { done: 0, frames: 1, text: { title: '' } as BarText };
  let open = false;
  const draw = (): void => {
    const { done, frames, text } = shown;
    if (open) {
      bar.setTotal(frames);
      bar.update(done, text);
    } else bar.start(frames, done, text);
    open = true;
  };
  const close = (): void => {
    if (open) bar.stop();
    open = false;
  };

  return {
    stage(stage) {
      // Closed first, since a new line is drawn at once and a changed one only after a while.
      close();
      shown = { done: 0, frames: 1, text: { title: `${stageTitles[stage]} ...` } };
      draw();
    },
    progress(event) {
      const { stage, done, frames } = event;
      shown = { done, frames, text: { title: stageTitles[stage], facts: progressFacts(event) } };
      draw();
    },
    print(text) {
      const wasOpen = open;
      close();
      stream.write(`${text}\n`);
      if (wasOpen) draw();
    },
    close,
  };
}
