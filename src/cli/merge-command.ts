import { resolve } from 'node:path';
import { Command } from 'commander';
import { exitCodes, LamellaError, UsageError } from '../errors.js';
import type { MergeEvent } from '../merge/merge-event.js';
import type { MergeOptions } from '../options/merge-options.js';
import { resolveOptions } from '../options/resolve-merge-options.js';
import { printable } from '../printable.js';
import type { Finding } from '../result/finding.js';
import { describeFailure } from './failure.js';
import { interruptible } from './interruptible.js';
import { addMergeFlags, givenMergeOptions } from './option-flags.js';
import { nameFileOfPositions, readPositionsFile } from './positions-file.js';
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

/** `lamella merge FOLDER`. */
export function mergeCommand(system: System): Command {
  const command = new Command('merge')
    .summary('merge a folder of photographs into one picture that is sharp throughout')
    .description(
      'Merge a folder of photographs, each sharp in one thin slab, into one picture that is sharp throughout, ' +
        'with the depth of each pixel, the frame it came from, and how sure both are.',
    )
    .argument('<folder>', 'folder of the frames: JPEG, PNG, TIFF or WebP, all of one size')
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', epilogue);
  addMergeFlags(command);
  return command
    .optionsGroup('Machine and files:')
    .option('--out <OUT>', 'result folder (default: FOLDER-merged, beside the folder)')
    .optionsGroup('Words and data:')
    .option('--json', 'print one JSON event a line on stdout, for programs, and no words but errors')
    .option('--quiet', 'print warnings and errors only')
    .action((folder: string, flags: Record<string, unknown>) => runMerge(system, folder, flags));
}

async function runMerge(system: System, folder: string, flags: Record<string, unknown>): Promise<void> {
  const json = flags.json === true;
  const quiet = flags.quiet === true;
  const reporter = openReporter(system, { json, quiet });
  let findings: readonly Finding[] = [];
  try {
    const options = await readOptions(flags);
    // Until the merge names its result, it lies where the help says.
    let out = options.out ?? `${resolve(folder)}-merged`;
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
    const error = nameFileOfPositions(thrown, flags.positions);
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
  const { positions, out, ...others } = flags;
  const given = givenMergeOptions(others);
  if (typeof positions === 'string') {
    // A slip in the flags should not wait for the file: they are checked beside positions that stand in.
    resolveOptions({ ...given, positionsMm: [0, 1] });
    given.positionsMm = await readPositionsFile(positions);
  }
  const options = resolveOptions(given);
  if (out === undefined) return options;
  if (typeof out !== 'string' || out === '') {
    throw new UsageError('Expected the path of a folder for --out but received an empty text');
  }
  return { ...options, out };
}
