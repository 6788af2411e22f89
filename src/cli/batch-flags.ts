import type { Command } from 'commander';
import { type BatchOptions, batchOptionTable } from '../batch/batch-options.js';
import { mergeOptionTable } from '../options/merge-option-table.js';
import type { OptionTable } from '../options/option.js';
import { folderPath, toggle } from '../options/option-kinds.js';
import { resolveOptions } from '../options/resolve-merge-options.js';
import { type PrintOptions, printOptions } from './common-options.js';
import { addFlags, flagsOf } from './option-flags.js';
import { nameFileOfPositions, positionsFileOptions, positionsPath, withPositions } from './positions-file.js';
import { queueAddress, queuePasswordFile, refusePassword } from './queue-address.js';

const { threads, memoryMb, overwrite } = mergeOptionTable;

/** Options of a merge, with the help of those that mean another thing for a batch. */
const mergeFlags: typeof mergeOptionTable = {
  ...mergeOptionTable,
  threads: { ...threads, help: 'threads of all merges together' },
  memoryMb: {
    ...memoryMb,
    help: 'memory of all merges together; a stack that takes more is ended and fails',
    defaultText: 'no bound',
  },
  overwrite: { ...overwrite, help: 'replace results in OUT that this batch did not write' },
};

interface OwnOptions extends PrintOptions {
  queuePasswordFile?: string;
  dryRun: boolean;
  status?: string;
}

const group = 'Output';

/** What the command itself is asked for. */
export const batchCommandOptions: OptionTable<OwnOptions> = {
  queuePasswordFile: { ...queuePasswordFile, group: 'Machine and files' },
  dryRun: { kind: toggle, group, help: 'print the plan and write nothing' },
  status: {
    kind: folderPath('OUT'),
    group,
    help: 'print how the batch in OUT stands, which another process may be running',
  },
  json: printOptions.json,
  quiet: { ...printOptions.quiet, help: 'print failures and errors only' },
};

/** Give `command` the flags of a batch, those of a merge included. */
export function addBatchFlags(command: Command): void {
  addFlags(command, { ...mergeFlags, ...positionsFileOptions, ...batchOptionTable, ...batchCommandOptions });
}

/** The options of a batch from commander's record, with the positions file read. */
export async function readBatchOptions(flags: Record<string, unknown>): Promise<BatchOptions> {
  const merge = await withPositions(flagsOf(mergeOptionTable, flags), flags, resolveOptions);
  const positionsFile = positionsPath(flags);
  try {
    // Before the search, for positions that no merge takes.
    resolveOptions(merge);
  } catch (error) {
    throw nameFileOfPositions(error, flags);
  }
  const { queue, ...options } = flagsOf(batchOptionTable, flags);
  if (queue === undefined) refusePassword(flags);
  return {
    merge,
    ...(positionsFile !== undefined && { positionsFile }),
    ...options,
    ...(queue !== undefined && { queue: await queueAddress(flags) }),
  };
}
