import { basename, dirname, join, posix, resolve, sep } from 'node:path';
import { named, UsageError } from '../errors.js';
import { machineMemoryMb } from '../merge/memory-need.js';
import { optionError, requireOptions, requirePath } from '../option-error.js';
import type { MergeOptions } from '../options/merge-options.js';
import type { OptionTable } from '../options/option.js';
import { choice, folderPath, number, several, text, toggle, whole } from '../options/option-kinds.js';
import { resolveOptions } from '../options/resolve-merge-options.js';
import { refuseBoth, requireBeside, validateOptions, withDefaults } from '../options/validate-options.js';
import { isWithin } from '../result/path-within.js';
import { minStackFrames } from '../stack/photograph-folder.js';
import type { Budget } from './estimate.js';
import type { SplitOptions } from './part-folder.js';
import { queueAddress } from './queue/queue-url.js';
import { stackKey } from './result-name.js';

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
  /** Merge these stacks alone, in this order: their paths below the root, '.' for the root itself. Default: all. */
  only?: string[];
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
  /** What all that run at once may use together; with a queue its workers decide that. */
  room: Budget;
  queue: { url: string; priority: number } | undefined;
  /** Bound on the memory of all merges together; undefined when none was given. */
  memoryLimitMb: number | undefined;
  maxPixels: number;
  split: SplitOptions | undefined;
  followLinks: boolean;
  /** Keys of the stacks that are merged, in their order; undefined for all. */
  only: readonly string[] | undefined;
  retry: boolean;
  until: { hour: number; minute: number } | undefined;
  nice: number;
  watch: boolean;
  settleMs: number;
}

/** Those without a default. */
type Unset = 'out' | 'splitGapS' | 'until' | 'queue';
type OwnOptions = Pick<BatchOptions, Unset> & Required<Omit<BatchOptions, Unset | 'merge' | 'positionsFile'>>;

/** Every option of a batch but those of its merges, in the order of the help. */
export const batchOptionTable: OptionTable<OwnOptions> = {
  split: {
    kind: toggle,
    group: 'Stacks',
    help: 'part each folder into the stacks that it holds',
  },
  splitBy: {
    kind: choice('auto', 'time', 'picture'),
    group: 'Stacks',
    help: 'part at pauses between capture times or where the picture jumps',
    default: 'auto',
    defaultText: 'auto, by time where every frame has one',
  },
  splitGapS: {
    kind: number(0.1, 86_400, 's'),
    group: 'Stacks',
    help: 'pause that parts stacks, e.g. 30s',
    defaultText: 'found from the times',
  },
  followLinks: { kind: toggle, group: 'Stacks', help: 'follow links that lead out of ROOT' },
  only: {
    kind: several(text('the path of a stack below ROOT', /./s, 'STACK')),
    group: 'Stacks',
    help: 'merge this stack alone, by its path below ROOT; given several times, these in this order',
    defaultText: 'all',
  },
  retry: { kind: toggle, group: 'Stacks', help: 'run only the stacks that failed before' },
  watch: {
    kind: toggle,
    group: 'Stacks',
    help: 'go on, and take up new stacks once their folders have settled',
  },
  settleS: {
    kind: number(1, 86_400, 's'),
    group: 'Stacks',
    help: 'settled means no change for this time',
    default: 30,
  },
  out: {
    kind: folderPath('OUT'),
    group: 'Machine and files',
    help: 'folder of all results',
    defaultText: 'ROOT-merged, beside the root',
  },
  until: {
    kind: text('a time of day such as 06:30', /^([01]?\d|2[0-3]):[0-5]\d$/, 'HH:MM'),
    group: 'Machine and files',
    help: 'start nothing that by its estimate will not end by then',
  },
  queue: {
    kind: queueAddress,
    group: 'Machine and files',
    help: 'hand the stacks to workers on other machines (see lamella worker)',
  },
  priority: {
    kind: whole(1, 100),
    group: 'Machine and files',
    help: 'with a queue: 1 goes first, 100 last',
    default: 50,
  },
  nice: {
    kind: whole(0, 19),
    group: 'Machine and files',
    help: 'give way to other programs',
    default: 0,
  },
};

/** Share of the machine's memory that stacks side by side may take together when no bound is given. */
const memoryShare = 0.7;

/** Checks the options and fills in defaults. Throws UsageError; see `optionError`. */
export function resolveBatch(root: string, given: BatchOptions): ResolvedBatch {
  requirePath(root, 'root');
  requireOptions(given);
  const { merge: givenMerge = {}, positionsFile, ...own } = given;
  const options = withDefaults(batchOptionTable, validateOptions(batchOptionTable, own));
  const merge = resolveOptions(givenMerge);
  const rootPath = resolve(root);
  const out = resolve(options.out ?? join(dirname(rootPath), `${basename(rootPath)}-merged`));
  if (isWithin(rootPath, out)) {
    throw optionError('out', "a folder outside of the photographs' own", out, {
      why: 'the photographs lie in it',
    });
  }
  if (!options.split && (given.splitBy !== undefined || given.splitGapS !== undefined)) {
    throw new UsageError(
      `Expected ${named('split')} beside ${named('splitGapS')} and ${named('splitBy')} but received only the latter.`,
    );
  }
  if (options.watch && options.retry) refuseBoth(given, 'watch', 'retry');
  if (options.watch && options.only.length > 0) refuseBoth(given, 'watch', 'only');
  const queue = resolveQueue(given, options.priority);
  const budget = {
    threads: queue ? 1 : merge.threads,
    memoryMb: merge.memoryMb ?? memoryShare * machineMemoryMb(),
  };
  const unbounded = { threads: Number.POSITIVE_INFINITY, memoryMb: Number.POSITIVE_INFINITY };
  return {
    root: rootPath,
    out,
    // Stacks may be merged by processes that were started elsewhere.
    merge: {
      ...givenMerge,
      ...(givenMerge.scratch !== undefined && { scratch: resolve(givenMerge.scratch) }),
    },
    positionsFile,
    budget,
    room: queue ? unbounded : budget,
    queue,
    memoryLimitMb: merge.memoryMb,
    maxPixels: (merge.maxMegapixels ?? 250) * 1e6,
    split: options.split
      ? { by: options.splitBy, gapS: options.splitGapS, minFrames: minStackFrames }
      : undefined,
    followLinks: options.followLinks,
    only: options.only.length > 0 ? options.only.map(keyOfPath) : undefined,
    retry: options.retry,
    until: options.until === undefined ? undefined : timeOfDay(options.until),
    nice: options.nice,
    watch: options.watch,
    settleMs: options.settleS * 1000,
  };
}

function resolveQueue(given: BatchOptions, priority: number): ResolvedBatch['queue'] {
  requireBeside(given, 'queue', 'priority');
  const { queue: url } = given;
  if (url === undefined) return undefined;
  const ownAffair = (['threads', 'memoryMb'] as const).find((key) => given.merge?.[key] !== undefined);
  if (ownAffair || given.nice !== undefined) {
    throw new UsageError(
      `Expected ${named(ownAffair ?? 'nice')} with the workers but received it beside ${named('queue')}: give it to lamella worker.`,
    );
  }
  if (given.until !== undefined) {
    throw new UsageError(
      `Expected ${named('until')} or ${named('queue')} but received both: when workers stop is decided on their machines.`,
    );
  }
  return { url, priority };
}

/** The key of a stack from its path below the root as people write it. */
function keyOfPath(path: string): string {
  const plain = posix.normalize(path.split(sep).join('/')).replace(/\/$/, '');
  return stackKey(plain === '.' ? '' : plain);
}

function timeOfDay(text: string): { hour: number; minute: number } {
  const [hour, minute] = text.split(':').map(Number);
  return { hour, minute };
}
