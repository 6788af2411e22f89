import type { Size } from '../image/image.js';
import type { MergeOptions } from '../options/merge-options.js';
import { type Finding, spoilsMerge } from '../result/finding.js';
import type { FinishedFile } from './stack-inputs.js';

export const nightListName = 'night-list.jsonl';
export const nightListSchema = 'lamella-night-list';
/** Raised when an event changes its meaning. Readers pass over events and fields that they do not know. */
export const nightListVersion = 1;

/** A stack as a batch takes it up. */
export interface PlannedStack {
  /** Its key, see `stackKey`. */
  stack: string;
  /** Name of its result folder. */
  name: string;
  /** Absolute path of the folder of photographs. */
  folder: string;
  frames: number;
  size: Size;
  estimateMs: number;
}

/** Why a stack failed: what its user can act on differs. */
export type FailureKind =
  | 'frames'
  | 'options'
  | 'changed'
  | 'output'
  | 'memory'
  | 'crash'
  | 'defect'
  | 'folder';

/** How a batch ended. */
export type EndState = 'done' | 'no disk' | 'until' | 'interrupted';

/** What a finished merge reports of its result. */
export interface StackReport {
  frames: number;
  framesUsed: number;
  size: Size;
  wallMs: number;
  /** Findings on the stack, as those of `check`; absent in lists written before they were kept. */
  findings?: Finding[] | undefined;
  /** Plain sentences, the most important first. */
  verdicts: string[];
  warnings: string[];
  notes: string[];
  files: FinishedFile[];
  /** Small JPEG of the composite as a data URI. */
  thumbnail: string;
  /** Absent in lists of programs that did not look whether a result is whole. */
  result?: ResultFacts | undefined;
}

/** By what a result is known again, and known to be whole. */
export interface ResultFacts {
  /** Start of its merge, as in its run.json. */
  startedAt: string;
  /** Its files as the merge left them. */
  files: FinishedFile[];
}

/** One line of the night list. `at` is ISO 8601, `stack` the key of a stack. */
export type NightEvent = { at: string } & (
  | {
      event: 'batch';
      schema: typeof nightListSchema;
      version: typeof nightListVersion;
      programVersion: string;
      pid: number;
      host: string;
      root: string;
      /** True when `stacks` are all there are, false when only failed ones are tried again. */
      whole: boolean;
      /** True when results that the batch did not write may be replaced. */
      overwrite?: boolean | undefined;
      /** Options of its merges as they were given, but for positions; absent in lists of before they were kept. */
      merge?: Partial<MergeOptions> | undefined;
      stacks: PlannedStack[];
    }
  | { event: 'found'; stacks: PlannedStack[] }
  | {
      event: 'start';
      stack: string;
      pid: number | null;
      began: string | null;
      host: string;
      /** What was begun, see `jobMark`; absent in lists of before it was kept. */
      job?: string | undefined;
    }
  | ({ event: 'done'; stack: string; options: string; modelMs: number } & StackReport)
  | { event: 'failed'; stack: string; kind: FailureKind; reason: string; wallMs: number }
  | { event: 'put-off'; stack: string; reason: string }
  | { event: 'end'; state: EndState; reason: string }
);

export type NightEventOf<Name extends NightEvent['event']> = Extract<NightEvent, { event: Name }>;

/** Whether a stack was merged, but somebody has to look at it: something spoils its picture. */
export function wantsLook({ findings = [] }: Pick<StackReport, 'findings'>): boolean {
  return spoilsMerge(findings);
}

/** What spoils the picture of a merged stack, in sentences. */
export function lookReasons({ findings = [] }: Pick<StackReport, 'findings'>): string[] {
  return findings.flatMap(({ rank, message }) => (rank === 'spoils' ? [message] : []));
}
