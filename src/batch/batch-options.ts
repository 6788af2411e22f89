import { totalmem } from 'node:os';
import { basename, dirname, join, resolve } from 'node:path';
import { named, UsageError } from '../errors.js';
import { optionError } from '../option-error.js';
import type { MergeOptions } from '../options/merge-options.js';
import { resolveOptions } from '../options/resolve-merge-options.js';
import { isWithin } from '../result/path-within.js';
import { leastFrames } from '../stack/photograph-folder.js';
import type { Budget } from './estimate.js';
import type { SplitOptions } from './part-folder.js';

/** How a batch is run; every field has a default. */
export interface BatchOptions {
  /** Folder of all results. Default: the root's name + `-merged` beside it. */
  out?: string;
  /** Options of all merges, where no `lamella.json` says otherwise; `threads` and `memoryMb` bound the batch. */
  merge?: Partial<MergeOptions>;
  /** Name of the file that the positions of `merge` were read from, for messages. Default: none. */
  positionsFile?: string;
  /** Part each folder into the stacks that it holds. Default false. */
  split?: boolean;
  /** Default 'auto': by time where every frame has one, else by picture. */
  splitBy?: SplitOptions['by'];
  /** Pause that parts stacks, s, 0.1 to 86400. Default: found from the times. */
  splitGapS?: number;
  /** Run only stacks that failed before. Default false. */
  retry?: boolean;
  /** Time of day as 'HH:MM': nothing is started that would end later. Default: no bound. */
  until?: string;
  /** Added to the priority number of the merging processes, 0 to 19. Default 0. */
  nice?: number;
  /** Go on looking for new stacks. Default false. */
  watch?: boolean;
  /** Seconds without a change after which a watched stack is complete, 1 to 86400. Default 30. */
  settleS?: number;
  /** Follow links that lead out of the root. Default false. */
  followLinks?: boolean;
  /** Address of a Redis server: stacks are handed to workers on other machines. Default: merged here. */
  queue?: string;
  /** Which batch goes first when workers are short, 1 (first) to 100. Default 50. */
  priority?: number;
}

/** Options with their defaults filled in. */
export interface ResolvedBatch {
  /** Absolute paths. */
  root: string;
  out: string;
  merge: Partial<MergeOptions>;
  positionsFile: string | undefined;
  /** What one merge may use. */
  budget: Budget;
  /** What all that run at once may use together; with a queue that is for its workers to say. */
  room: Budget;
  queue: { url: string; priority: number } | undefined;
  /** Bound on the memory of all merges together; undefined when none was given. */
  memoryLimitMb: number | undefined;
  maxPixels: number;
  split: SplitOptions | undefined;
  followLinks: boolean;
  retry: boolean;
  until: { hour: number; minute: number } | undefined;
  nice: number;
  watch: boolean;
  settleMs: number;
}

/** Share of the machine's memory that stacks side by side may take together when no bound is given. */
const memoryShare = 0.7;

const defaultSettleS = 30;

/** Checks the options and fills in defaults. Throws UsageError; see `optionError`. */
export function resolveBatch(root: string, given: BatchOptions): ResolvedBatch {
  if (root === '') throw optionError('root', 'the path of a folder', root);
  if (given.out === '') throw optionError('out', 'the path of a folder', given.out);
  const merge = resolveOptions(given.merge ?? {});
  const place = resolve(root);
  const out = resolve(given.out ?? join(dirname(place), `${basename(place)}-merged`));
  if (isWithin(place, out)) {
    throw optionError('out', "a folder outside of the photographs' own", out, {
      why: 'the photographs lie in it',
    });
  }
  const splitBy = given.splitBy ?? 'auto';
  if (!['auto', 'time', 'picture'].includes(splitBy)) {
    throw optionError('splitBy', 'auto, time or picture', splitBy);
  }
  if (!given.split && (given.splitBy !== undefined || given.splitGapS !== undefined)) {
    throw new UsageError(
      `Expected ${named('split')} beside ${named('splitGapS')} and ${named('splitBy')} but received only the latter.`,
    );
  }
  if (given.splitGapS !== undefined) within(given.splitGapS, 0.1, 86_400, 's', 'splitGapS');
  const nice = given.nice ?? 0;
  if (!Number.isInteger(nice) || nice < 0 || nice > 19) {
    throw optionError('nice', 'a whole number from 0 to 19', nice);
  }
  const settleS = given.settleS ?? defaultSettleS;
  within(settleS, 1, 86_400, 's', 'settleS');
  if (given.watch && given.retry) {
    throw new UsageError(
      `Expected ${named('watch')} or ${named('retry')} but received both: keep one of them.`,
    );
  }
  const queue = resolveQueue(given);
  const budget = {
    threads: queue ? 1 : merge.threads,
    memoryMb: merge.memoryMb ?? (memoryShare * machineMemory()) / 1e6,
  };
  const unbounded = { threads: Number.POSITIVE_INFINITY, memoryMb: Number.POSITIVE_INFINITY };
  return {
    root: place,
    out,
    merge: { ...given.merge },
    positionsFile: given.positionsFile,
    budget,
    room: queue ? unbounded : budget,
    queue,
    memoryLimitMb: merge.memoryMb,
    maxPixels: (merge.maxMegapixels ?? 250) * 1e6,
    split: given.split ? { by: splitBy, gapS: given.splitGapS, least: leastFrames } : undefined,
    followLinks: given.followLinks ?? false,
    retry: given.retry ?? false,
    until: given.until === undefined ? undefined : timeOfDay(given.until),
    nice,
    watch: given.watch ?? false,
    settleMs: settleS * 1000,
  };
}

function resolveQueue(given: BatchOptions): ResolvedBatch['queue'] {
  const { queue: url, priority } = given;
  if (url === undefined) {
    if (priority === undefined) return undefined;
    throw new UsageError(
      `Expected ${named('queue')} beside ${named('priority')} but received only the latter.`,
    );
  }
  const ownAffair = (['threads', 'memoryMb'] as const).find((key) => given.merge?.[key] !== undefined);
  if (ownAffair || given.nice !== undefined) {
    throw new UsageError(
      `Expected ${named(ownAffair ?? 'nice')} with the workers but received it beside ${named('queue')}: give it to lamella worker.`,
    );
  }
  if (given.until !== undefined) {
    throw new UsageError(
      `Expected ${named('until')} or ${named('queue')} but received both: when workers stop is for their machines to say.`,
    );
  }
  const first = priority ?? 50;
  if (!Number.isInteger(first) || first < 1 || first > 100) {
    throw optionError('priority', 'a whole number from 1 to 100', first);
  }
  return { url, priority: first };
}

/** Memory of this machine or of the container that holds the process, bytes. */
function machineMemory(): number {
  // A container without a bound reports none, or a number beyond any memory.
  const bound = process.constrainedMemory?.() ?? 0;
  return bound > 0 ? Math.min(bound, totalmem()) : totalmem();
}

function timeOfDay(text: string): { hour: number; minute: number } {
  const [, hour, minute] = /^(\d{1,2}):(\d\d)$/.exec(text) ?? [];
  if (hour === undefined || Number(hour) > 23 || Number(minute) > 59) {
    throw optionError('until', 'a time of day such as 06:30', text);
  }
  return { hour: Number(hour), minute: Number(minute) };
}

function within(value: number, min: number, max: number, unit: string, name: string): void {
  if (!(value >= min && value <= max))
    throw optionError(name, `a number from ${min} to ${max} ${unit}`, value);
}
