import type { Command } from 'commander';
import type { BatchOptions } from '../batch/batch-options.js';
import { UsageError } from '../errors.js';
import type { MergeOptions } from '../options/merge-options.js';
import { readNumber } from '../options/read-number.js';
import { readQuantity } from '../options/read-quantity.js';
import { resolveOptions } from '../options/resolve-merge-options.js';
import { addMergeFlags, givenMergeOptions } from './option-flags.js';
import { nameFileOfPositions, readPositionsFile } from './positions-file.js';
import { passwordFlag, queueAddress, refusePassword } from './queue-address.js';

/** What flags of a merge mean for a batch, where that differs. */
const otherHelp: Record<string, string> = {
  '--threads': 'threads of all merges together (a whole number from 1 to 256; default: one a core)',
  '--memory':
    'memory of all merges together; a stack that takes more is ended and fails (a number from 256 to 1048576 MB; default: no bound)',
  '--overwrite': 'replace results in OUT that this batch did not write',
};

/** Give `command` the flags of a batch, those of a merge included. */
export function addBatchFlags(command: Command): void {
  addMergeFlags(command);
  for (const option of command.options)
    option.description = otherHelp[option.long ?? ''] ?? option.description;
  command
    .optionsGroup('Stacks:')
    .option('--split', 'part each folder into the stacks that it holds')
    .option(
      '--split-by <auto|time|picture>',
      'part at pauses between capture times or where the picture jumps (default: auto, by time where every frame has one)',
    )
    .option(
      '--split-gap <S>',
      'pause that parts stacks, e.g. 30s (a number from 0.1 to 86400 s; default: found from the times)',
    )
    .option('--follow-links', 'follow links that lead out of ROOT')
    .option('--retry', 'run only the stacks that failed before')
    .option('--watch', 'go on, and take up new stacks as their folders become quiet')
    .option('--settle <S>', 'quiet is no change for this time (a number from 1 to 86400 s; default: 30)')
    .optionsGroup('Machine and files:')
    .option('--out <OUT>', 'folder of all results (default: ROOT-merged, beside the root)')
    .option('--until <HH:MM>', 'start nothing that by its estimate will not end by then')
    .option('--queue <URL>', 'hand the stacks to workers on other machines (see lamella worker)')
    .option(...passwordFlag)
    .option('--priority <N>', 'with --queue: 1 goes first, 100 last (default: 50)')
    .option('--nice <N>', 'give way to other programs (a whole number from 0 to 19; default: 0)')
    .optionsGroup('Words and data:')
    .option('--dry-run', 'print the plan and write nothing')
    .option('--status <OUT>', 'print how the batch in OUT stands, which another process may be running')
    .option('--json', 'print one JSON event a line on stdout, for programs, and no words but errors')
    .option('--quiet', 'print failures and errors only');
}

/** The options of a batch from commander's record, with the positions file read. */
export async function readBatchOptions(flags: Record<string, unknown>): Promise<BatchOptions> {
  const { positions, ...others } = flags;
  const merge = givenMergeOptions(others);
  if (typeof positions === 'string') {
    resolveOptions({ ...merge, positionsMm: [0, 1] });
    merge.positionsMm = await readPositionsFile(positions);
    refusePositions(merge, positions);
  }
  const options: Record<string, unknown> = {
    merge,
    positionsFile: positions,
    split: flags.split,
    splitBy: flags.splitBy,
    splitGapS: readSeconds(flags.splitGap, '--split-gap'),
    followLinks: flags.followLinks,
    retry: flags.retry,
    watch: flags.watch,
    settleS: readSeconds(flags.settle, '--settle'),
    out: readOut(flags.out),
    until: flags.until,
    nice: readWhole(flags.nice),
    queue: flags.queue === undefined ? refusePassword(flags) : await queueAddress(flags),
    priority: readWhole(flags.priority),
  };
  const given = Object.entries(options).filter(([, value]) => value !== undefined);
  // Each value was made a number above, or is checked by `resolveBatch`.
  return Object.fromEntries(given) as BatchOptions;
}

/** Refuses positions that no merge takes, before the search. Throws UsageError that names their file. */
function refusePositions(merge: Partial<MergeOptions>, path: string): void {
  try {
    resolveOptions(merge);
  } catch (error) {
    throw nameFileOfPositions(error, path);
  }
}

function readSeconds(text: unknown, name: string): number | undefined {
  if (text === undefined) return undefined;
  const value = readQuantity(String(text), 's');
  if (value !== undefined) return value;
  const received = text === '' ? 'an empty text' : String(text);
  throw new UsageError(`Expected seconds, such as 30s, for ${name} but received ${received}`);
}

/** A text that stands for no number is passed on as it is, so that it is refused in the usual words. */
function readWhole(text: unknown): unknown {
  return text === undefined ? undefined : (readNumber(String(text)) ?? text);
}

function readOut(out: unknown): unknown {
  if (out === '') throw new UsageError('Expected the path of a folder for --out but received an empty text');
  return out;
}
