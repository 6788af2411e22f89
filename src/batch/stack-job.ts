import type { MergeEvent } from '../merge/merge-event.js';
import type { MergeOptions } from '../options/merge-options.js';
import type { FailureKind, StackReport } from './night-events.js';
import type { InputFile } from './stack-inputs.js';

/** One stack to be merged, complete: nothing but the files that it names is needed beside it. */
export interface StackJob {
  folder: string;
  /** Absolute path of the result folder. */
  out: string;
  /** Resolved, for this stack. */
  options: MergeOptions;
  /** Files as they were found: another state when the frames have been read means that the stack changed. */
  files: InputFile[];
  /** True when all of the folder is the stack, so that a new photograph in it is a change too. */
  wholeFolder: boolean;
  /** Added to the priority number of the process, 0 to 19; higher gives way to others. */
  nice: number;
  /** The process is ended when it takes more; undefined for no bound. */
  memoryLimitMb?: number | undefined;
}

/** How a stack ended. */
export type StackEnd =
  /** `host` is the machine of the worker that merged it; absent for one that was merged here. */
  | { state: 'done'; report: StackReport; host?: string | undefined }
  | { state: 'failed'; kind: FailureKind; reason: string }
  /** It was stopped by its batch and left nothing. */
  | { state: 'stopped' };

/** What the process of a stack sends to its batch. */
export type StackMessage =
  | { type: 'event'; event: MergeEvent }
  | { type: 'picture'; picture: StackPicture }
  | { type: 'end'; end: StackEnd };

/** The picture of a stack while it is blended. */
export interface StackPicture {
  /** JPEG, base64. */
  jpeg: string;
  /** Frames blended so far, of `frames`. */
  done: number;
  frames: number;
}

/** What a batch sends to the process of a stack. */
export type StackCommand =
  /** `showsPicture`: the picture is sent while it grows. */
  { type: 'merge'; job: StackJob; showsPicture: boolean } | { type: 'stop' };

/** Given to the process of a stack by a command line: its texts call options by their flags. */
export const flagsArgument = 'flags';

/** A stack in work. */
export interface StackRun {
  /** Number of its process; null when it has none of its own. */
  pid: number | null;
  /** Never rejects. */
  ended: Promise<StackEnd>;
  /** Asks it to end; `ended` then resolves soon. */
  stop(): void;
  /** Called when its end is on the night list, so that nobody need keep it elsewhere. */
  recorded?(): void;
}

/** Begins to merge a stack. Tests and queue workers use their own instead of a child process. */
export type StartStack = (job: StackJob, onEvent: (event: MergeEvent) => void) => StackRun;
