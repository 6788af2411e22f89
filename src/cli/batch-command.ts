import { Command } from 'commander';
import type { BatchOptions } from '../batch/batch-options.js';
import type { BatchOutcome } from '../batch/run-batch.js';
import { exitCodes, InterruptedError, LamellaError, UsageError } from '../errors.js';
import { printable } from '../printable.js';
import { countOf } from '../stack/words.js';
import { addBatchFlags, batchCommandOptions, readBatchOptions } from './batch-flags.js';
import { openBatchScreen } from './batch-screen.js';
import type { PrintOptions } from './common-options.js';
import { describeFailure } from './failure.js';
import { interruptible } from './interruptible.js';
import { readFlags } from './option-flags.js';
import { passwordHelp } from './queue-address.js';
import type { System } from './system.js';

const epilogue = `
A file lamella.json in a stack's folder, or in one above it up to ROOT, gives options of its own, e.g.
  { "stepMm": 0.05, "fieldWidthMm": 12 }
with the names that run.json uses; they override the command line.

${passwordHelp}

Exit codes:
  0    every stack is merged, or was left for later by --until; those that somebody has to look at are named
  1    some stacks failed (or a defect of Lamella, which says so)
  2    an option is wrong
  3    ROOT cannot be searched
  4    OUT cannot be written, is in use by another batch, or has no room for the next stack
  6    every stack is merged, but of some more than a fifth of the frames is left out
  130  interrupted; finished stacks are kept

Examples:
  lamella batch week-47 --until 06:30
  lamella batch week-47 --retry
  lamella batch card --split --dry-run
  lamella batch --status week-47-merged`;

/** What ends in time is ended and written down even on a busy machine; the processes of stacks are gone far sooner. */
const endingMs = 10_000;

const keptMessage = 'Interrupted: finished stacks are kept. Run the same command again to go on.';

/** Exit code when the batch ran but not every stack came out well. */
const someFailed = 1;

/** `lamella batch ROOT`. */
export function batchCommand(system: System): Command {
  const command = new Command('batch')
    .summary('merge all stacks below a folder, overnight and resumable')
    .description(
      'Merge every stack below a folder, each into a result folder of its own in OUT. Run the same command ' +
        'again to go on after any end: what is finished is skipped.',
    )
    .argument('[root]', 'folder below which the stacks lie: every folder with at least 3 frames')
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', epilogue);
  addBatchFlags(command);
  return command.action(async (root: string | undefined, flags: Record<string, unknown>) => {
    const own = readFlags(batchCommandOptions, flags);
    if (own.status !== undefined) return printStatus(system, root, own.status, own.json);
    if (root === undefined) {
      throw new UsageError(
        'Expected the path of a folder for ROOT but received none. See lamella batch --help.',
      );
    }
    const options = await readBatchOptions(flags);
    if (own.dryRun) return printPlan(system, root, options, own.json);
    return run(system, root, options, own);
  });
}

async function run(
  system: System,
  root: string,
  options: BatchOptions,
  { json, quiet }: PrintOptions,
): Promise<void> {
  const screen = openBatchScreen(system, { json, quiet });
  try {
    const outcome = await interruptible(
      system.signals,
      async (signal) => {
        const { runBatch } = await import('../batch/run-batch.js');
        return runBatch(root, options, { onEvent: screen.onEvent, signal });
      },
      () => {},
      endingMs,
    );
    screen.close();
    if (!json && !quiet) printPath(system, `${outcome.out}/index.html`);
    throwUnlessGood(outcome);
  } catch (error) {
    const failure = error instanceof InterruptedError ? new InterruptedError(keptMessage) : error;
    if (json) {
      const { message, exitCode } = describeFailure(failure);
      system.stdout.write(`${JSON.stringify({ event: 'error', message, exitCode })}\n`);
    }
    throw failure;
  } finally {
    screen.close();
  }
}

function throwUnlessGood({ state, failed, done, incomplete, out }: BatchOutcome): void {
  const page = `See ${out}/index.html.`;
  if (state === 'interrupted') {
    throw new InterruptedError(keptMessage);
  }
  if (state === 'no disk') {
    throw new LamellaError(
      `The disk of ${out} has no room for the stacks that are left. Free some space and run the same command again. ${page}`,
      exitCodes.output,
    );
  }
  if (failed > 0) {
    const message = `${failed} of ${countOf(done + failed, 'stack')} failed. ${page}`;
    throw new LamellaError(message, someFailed);
  }
  if (incomplete > 0) {
    throw new LamellaError(`${incompleteText(incomplete, done)} ${page}`, exitCodes.look);
  }
}

function incompleteText(incomplete: number, done: number): string {
  return `${incomplete} of ${countOf(done, 'stack')} merged, but look: more than a fifth of the frames is left out.`;
}

async function printPlan(system: System, root: string, options: BatchOptions, json: boolean): Promise<void> {
  const { dryRun } = await import('../batch/run-batch.js');
  const { planLines } = await import('../batch/plan-lines.js');
  const { batch, plan } = await interruptible(
    system.signals,
    (signal) => dryRun(root, options, signal),
    () => {},
  );
  if (json) {
    const stacks = plan.tasks.map(({ planned, diskBytes, memoryMb, options: merge }) => ({
      ...planned,
      diskBytes,
      memoryMb,
      options: merge,
    }));
    const { faults, finished, damaged, passed, partings } = plan;
    const report = {
      ...{ event: 'dry-run', out: batch.out, stacks, faults },
      ...{ finished, damaged, passed, partings },
    };
    system.stdout.write(`${JSON.stringify(report)}\n`);
  } else {
    for (const line of planLines(batch, plan)) system.stdout.write(`${printable(line)}\n`);
  }
  const { length } = plan.faults;
  if (length > 0) {
    throw new LamellaError(
      `${length === 1 ? '1 stack' : `${length} stacks`} cannot run, as listed above.`,
      someFailed,
    );
  }
}

async function printStatus(
  system: System,
  root: string | undefined,
  folder: string,
  json: boolean,
): Promise<void> {
  if (root !== undefined)
    throw new UsageError('Expected ROOT or --status but received both: keep one of them.');
  const [{ readStatus, statusLines }, { lookReasons, wantsLook }] = await Promise.all([
    import('../batch/night-status.js'),
    import('../batch/night-events.js'),
  ]);
  const status = await readStatus(folder);
  if (json) {
    const { out, holder = null, counts, leftMs, night } = status;
    const stacks = [...night.stacks.values()].map(({ planned, state, done, failed, putOff }) => ({
      ...planned,
      state,
      ...(state === 'done' && done && { look: wantsLook(done), spoils: lookReasons(done) }),
      ...(state === 'failed' && { reason: failed?.reason }),
      ...(state === 'put off' && { reason: putOff?.reason }),
    }));
    const report = { event: 'status', out, running: holder, counts, leftMs, end: night.end ?? null, stacks };
    system.stdout.write(`${JSON.stringify(report)}\n`);
  } else {
    for (const line of statusLines(status)) system.stdout.write(`${printable(line)}\n`);
  }
  const { failed, incomplete, done } = status.counts;
  if (failed > 0) {
    throw new LamellaError(`${failed} of ${countOf(status.night.stacks.size, 'stack')} failed.`, someFailed);
  }
  if (incomplete > 0) throw new LamellaError(incompleteText(incomplete, done), exitCodes.look);
}

function printPath({ stdout }: System, path: string): void {
  // A program needs the path as it is; a terminal must not obey it.
  stdout.write(`${stdout.isTTY ? printable(path) : path}\n`);
}
