import type { MergeEvent } from '../merge/merge-event.js';
import type { NightEvent, PlannedStack } from './night-events.js';

/** What a running batch emits: what goes on the night list, and what passes. */
export type BatchEvent =
  | NightEvent
  /** The folders below the root are being looked at. */
  | { event: 'search'; root: string }
  /** How a folder of many stacks was parted. */
  | { event: 'parting'; message: string }
  | { event: 'plan'; toDo: number; finished: number; faults: number; estimateMs: number }
  | { event: 'begin'; planned: PlannedStack; ordinal: number; total: number }
  /** A stack in work. */
  | { event: 'merge'; stack: string; elapsedMs: number; merge: MergeEvent }
  /** The batch as a whole; `total` counts the stacks of this run, `look` those of `done` that somebody has to look at. `isNews` when a stack has ended. */
  | {
      event: 'whole';
      isNews: boolean;
      done: number;
      look: number;
      failed: number;
      total: number;
      leftMs: number;
    }
  | { event: 'notice'; message: string };
