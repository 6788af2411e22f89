import { SingleBar } from 'cli-progress';
import type { MergeStage } from '../merge/merge-event.js';
import { type ProgressEvent, progressLine, stageTitles } from './progress-text.js';
import type { Output } from './system.js';

const assumedColumns = 80;

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
  let shown = (): string => '';
  const bar = new SingleBar({
    stream,
    format: () => shown(),
    clearOnComplete: true,
    // Switching line wrap off would leave the terminal so when the process is killed; the line is cut instead.
    linewrap: true,
  });
  let open = false;
  const draw = (done: number): void => {
    if (open) bar.update(done);
    else bar.start(1, done);
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
      shown = () => `${stageTitles[stage]} ...`;
      draw(0);
    },
    progress(event) {
      shown = () => progressLine(event, stream.columns || assumedColumns);
      draw(event.done);
    },
    print(text) {
      const wasOpen = open;
      close();
      stream.write(`${text}\n`);
      if (wasOpen) draw(0);
    },
    close,
  };
}
