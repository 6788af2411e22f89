import type { SmallPicture } from '../blend/picture-so-far.js';
import type { MergeOptions } from '../options/merge-options.js';
import type { Finding } from '../result/finding.js';
import type { MergeEvent } from './merge-event.js';

/** What a merge that ended well leaves behind. */
export interface MergeOutcome {
  /** Absolute path of the result folder. */
  out: string;
  /** Names of the files that it wrote there. */
  files: string[];
  /** What is to be said of the stack and its picture, the gravest first; see `check`. */
  findings: Finding[];
  /** The outcome in plain sentences, those of `report.html`. */
  verdicts: string[];
  /** Plain sentences for the user. */
  warnings: string[];
  notes: string[];
  wallMs: number;
}

/** The picture of a merge while it is blended. Where no frame has supplied anything yet, it shows the frame added last. */
export interface GrowingPicture extends SmallPicture {
  /** Frames blended so far, of `frames`. */
  done: number;
  frames: number;
  /** ICC profile of its colours, as in the frames; undefined: none, sRGB. */
  icc: Buffer | undefined;
}

/** How a caller follows a merge and stops it. */
export interface MergeHooks {
  /** Told of stages, progress, notes and warnings, as they come. */
  onEvent?: (event: MergeEvent) => void;
  /**
   * Shown the picture now and then while it is blended, 1280 px a side at most. Making it takes some hundredths of the
   * time of the blend, and changes nothing of the result.
   */
  onPicture?: (picture: GrowingPicture) => void;
  /** Aborting makes the merge reject with InterruptedError and leave nothing half-written. */
  signal?: AbortSignal;
}

/** Hooks of a merge that a batch or a worker starts. */
export interface UnattendedHooks extends MergeHooks {
  /**
   * Nobody waits to mend what is wrong: where the graphics processor that is asked for is not there, the processor merges,
   * with a warning.
   */
  isUnattended?: boolean;
}

/** The library's merge, as callers see it. */
export type MergeFunction = (
  folder: string,
  options: Partial<MergeOptions> & { out?: string },
  hooks: MergeHooks,
) => Promise<MergeOutcome>;
