import { exitCodes } from '../errors.js';
import type { MergeFunction } from '../merge/merge-api.js';
import { programVersion } from '../version.js';
import { optimiseLater } from '../workers/optimise-later.js';
import { abandonResult } from './abandon-result.js';
import { describeFailure, printableMessage } from './failure.js';
import { runCli } from './run.js';
import type { Output, System } from './system.js';

/**
 * The program: run the command line of this process, then end it with the exit code.
 * Tests use a merge of their own.
 */
export async function main(loadMerge: () => Promise<MergeFunction> = loadOwnMerge): Promise<never> {
  for (const stream of [process.stdout, process.stderr]) {
    stream.on('error', (error) => onOutputError(stream, error));
  }
  for (const name of ['uncaughtException', 'unhandledRejection'] as const) process.on(name, endByDefect);

  const system: System = {
    stdout: process.stdout,
    stderr: process.stderr,
    signals: process,
    loadMerge,
    abandonResult,
  };
  const exitCode = await runCli(process.argv.slice(2), programVersion(), system);
  await Promise.all([flushed(process.stdout), flushed(process.stderr)]);
  // Not by running dry: after a failure or an interrupt, workers may still be busy.
  process.exit(exitCode);
}

async function loadOwnMerge(): Promise<MergeFunction> {
  optimiseLater();
  return (await import('../mend/merge.js')).merge;
}

/**
 * Whoever read our output may have gone (`| head`): the result is still wanted, its text no longer is.
 * Data that cannot be written for another reason (a full disk) are a failure; text is not worth one.
 */
function onOutputError(stream: Output, error: NodeJS.ErrnoException): void {
  if (error.code === 'EPIPE' || stream === process.stderr) return;
  process.stderr.write(`lamella: Cannot write to standard output: ${error.message}\n`);
  process.exit(exitCodes.output);
}

function endByDefect(error: unknown): never {
  const { exitCode, message } = describeFailure(error);
  process.stderr.write(`lamella: ${printableMessage(message, exitCode)}\n`);
  process.exit(exitCode);
}

function flushed(stream: Output): Promise<void> {
  return new Promise((resolve) => stream.write('', () => resolve()));
}
