import { resolve } from 'node:path';
import { Command } from 'commander';
import { exitCodes, LamellaError } from '../errors.js';
import type { MergeEvent } from '../merge/merge-event.js';
import { mergeOptionTable } from '../options/merge-option-table.js';
import type { MergeOptions } from '../options/merge-options.js';
import type { OptionTable } from '../options/option.js';
import { folderPath } from '../options/option-kinds.js';
import { resolveOptions } from '../options/resolve-merge-options.js';
import { printable } from '../printable.js';
import type { Finding } from '../result/finding.js';
import { resultFolderName } from '../result/result-folder-name.js';
import { type PrintOptions, printOptions } from './common-options.js';
import { describeFailure } from './failure.js';
import { interruptible } from './interruptible.js';
import { addFlags, flagsOf, readFlags } from './option-flags.js';
import { nameFileOfPositions, positionsFileOptions, withPositions } from './positions-file.js';
import { openReporter } from './reporter.js';
import type { System } from './system.js';

const epilogue = `
Exit codes:
  0    the result folder is complete; what spoils the picture, if anything, is said
  1    a defect of Lamella
  2    an option is wrong
  3    the frames cannot be read or do not form a stack
  4    the result cannot be written
  5    the machine does not give what is needed: memory, threads, open files, a folder
  6    the result folder is complete, but more than a fifth of the frames is left out
  130  interrupted; nothing was written

Example, 0.05 mm from frame to frame and 12 mm of subject across the picture:
  lamella merge bee-head --step 0.05 --field-width 12 --out bee-head-merged`;

const ownOptions: OptionTable<PrintOptions & { out?: string }> = {
  out: {
    kind: folderPath('OUT'),
    group: 'Machine and files',
    help: 'result folder',
    defaultText: 'FOLDER-merged, beside the folder; of a preview FOLDER-preview',
  },
  ...printOptions,
};

/** `lamella merge FOLDER`. */
export function mergeCommand(system: System): Command {
  const command = new Command('merge')
    .summary('merge a folder of photographs into one picture that is sharp throughout')
    .description(
      'Merge a folder of photographs, each sharp in one thin slab, into one picture that is sharp throughout, ' +
        'with the depth of each pixel, the frame it came from, and how sure both are.',
    )
    .argument('<folder>', 'folder of the frames: JPEG, PNG, TIFF, WebP or camera raw files, all of one size')
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', epilogue);
  return addFlags(command, { ...mergeOptionTable, ...positionsFileOptions, ...ownOptions }).action(
    (folder: string, flags: Record<string, unknown>) => runMerge(system, folder, flags),
  );
}

async function runMerge(system: System, folder: string, flags: Record<string, unknown>): Promise<void> {
  const { json, quiet } = readFlags(printOptions, flags);
  const reporter = openReporter(system, { json, quiet });
  let findings: readonly Finding[] = [];
  try {
    const options = await readOptions(flags);
    // Until the merge names its result, it lies where the help says.
    let out = options.out ?? resultFolderName(resolve(folder), options.preview);
    const onEvent = (event: MergeEvent): void => {
      if (event.event === 'start') out = event.out;
      reporter.onEvent(event);
    };
    const outcome = await interruptible(
      system.signals,
      async (signal) => {
        const merge = await system.loadMerge();
        signal.throwIfAborted();
        return merge(folder, options, { onEvent, signal });
      },
      () => system.abandonResult(out),
    );
    findings = outcome.findings;
    reporter.close();
    if (!json && !quiet) {
      const { stdout } = system;
      // A program needs the path as it is; a terminal must not obey it.
      stdout.write(`${stdout.isTTY ? printable(outcome.out) : outcome.out}\n`);
    }
  } catch (thrown) {
    const error = nameFileOfPositions(thrown, flags);
    const { message, exitCode } = describeFailure(error);
    reporter.onFailure(message, exitCode);
    throw error;
  } finally {
    reporter.close();
  }
  const { leavesOutMany } = await import('../check/judge-merge.js');
  // All has been said: no message, only the code.
  if (leavesOutMany(findings)) throw new LamellaError('', exitCodes.look);
}

async function readOptions(
  flags: Record<string, unknown>,
): Promise<Partial<MergeOptions> & { out?: string }> {
  const { out } = readFlags(ownOptions, flags);
  const options = resolveOptions(
    await withPositions(flagsOf(mergeOptionTable, flags), flags, resolveOptions),
  );
  return out === undefined ? options : { ...options, out };
}
