import type { Size } from '../image/image.js';
import type { Finding } from '../result/finding.js';
import type { FrameReduction } from '../stack/frame.js';

/** Stages of a merge in their order. */
export type MergeStage = 'list' | 'register' | 'focus' | 'surface' | 'blend' | 'write';

/** What a running merge tells its caller; the CLI prints these, `--json` passes them on. */
export type MergeEvent =
  | {
      event: 'start';
      folder: string;
      out: string;
      frames: number;
      /** Of the frames as they are merged, px. */
      size: Size;
      /** Set in a preview, whose frames are merged reduced. */
      preview?: FrameReduction;
    }
  | { event: 'stage'; stage: MergeStage }
  | {
      event: 'progress';
      stage: MergeStage;
      /** Frames done in this stage, of `frames`. */
      done: number;
      frames: number;
      megapixelsPerS: number;
      /** Estimate for the whole run, seconds; undefined until there is one. */
      leftS?: number | undefined;
    }
  | { event: 'note' | 'warning'; message: string }
  /** What is to be said of the stack, as `check` says it; once the frames have been read, and once the maps are there. */
  | { event: 'finding'; finding: Finding }
  /** `verdict`: one sentence on the whole, by the findings; `fit`: nothing spoils the picture. */
  | {
      event: 'done';
      out: string;
      files: string[];
      fit: boolean;
      verdict: string;
      wallMs: number;
      preview?: FrameReduction;
    };
