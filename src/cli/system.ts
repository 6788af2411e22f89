import type { EventEmitter } from 'node:events';
import type { MergeFunction } from '../merge/merge-api.js';

/** A stream that commands print to; a terminal says so by `isTTY` and knows its width. */
export type Output = NodeJS.WritableStream & { isTTY?: boolean; columns?: number };

/** Everything outside that a command touches, so that tests can use their own. */
export interface System {
  /** Data, for programs. */
  stdout: Output;
  /** Text, for people. */
  stderr: Output;
  /** Emits 'SIGINT' and 'SIGTERM'. */
  signals: EventEmitter;
  /** Loaded only by the commands that merge, so that help and usage errors answer at once. */
  loadMerge: () => Promise<MergeFunction>;
  /** Clear away what this process has written towards the result `out` without waiting for the merge. */
  abandonResult: (out: string) => void;
}
