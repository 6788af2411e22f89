import { availableParallelism } from 'node:os';
import { Command } from 'commander';
import { loadQueueModule } from '../batch/queue/queue-packages.js';
import type { WorkerEvent, WorkerOptions } from '../batch/queue/stack-worker.js';
import { UsageError } from '../errors.js';
import { readQuantity } from '../options/read-quantity.js';
import { printable } from '../printable.js';
import { countOf } from '../stack/words.js';
import { interruptible } from './interruptible.js';
import { passwordFlag, passwordHelp, queueAddress } from './queue-address.js';
import type { System } from './system.js';

const epilogue = `
The photographs and the results must lie on storage that all machines share, under the same paths. Whoever reaches
the queue can hand out work: nothing outside of --below is read or written, links are followed to where they lead, and
only what the batch in its own folder of results has begun is merged.
${passwordHelp}

Exit codes:
  2    an option is wrong
  4    the queue cannot be reached
  130  ended by Ctrl-C or SIGTERM; the stack in work went back to the queue

Example, on each machine that shall help, and then on any one:
  lamella worker --queue redis://bench:6379 --below /photos
  lamella batch /photos/week-47 --queue redis://bench:6379`;

/** Giving a stack back takes an answer of the server, which may be busy. */
const endingMs = 10_000;

/** `lamella worker --queue URL --below FOLDER`. */
export function workerCommand(system: System): Command {
  return new Command('worker')
    .summary('merge stacks that batches on other machines hand out')
    .description('Merge the stacks that lamella batch --queue hands out, one at a time, until it is ended.')
    .helpOption('-h, --help', 'show this help')
    .requiredOption('--queue <URL>', 'Redis server that holds the queue, e.g. redis://host:6379')
    .option(
      '--below <FOLDER>',
      'read photographs and write results only below this folder; required, and may be given more than once',
      (folder: string, before: string[]) => [...before, folder],
      [],
    )
    .option(...passwordFlag)
    .option('--threads <N>', 'threads that compute (a whole number from 1 to 256; default: one a core)')
    .option('--memory <MB>', 'a stack that takes more is ended and fails (a number from 256 to 1048576 MB)')
    .option('--nice <N>', 'give way to other programs (a whole number from 0 to 19; default: 0)')
    .option(
      '--lease <S>',
      'a worker that is silent for this time loses its stack to another (a number from 2 to 3600 s; default: 30)',
    )
    .option('--json', 'print one JSON event a line on stdout, for programs')
    .addHelpText('after', epilogue)
    .action((flags: Record<string, unknown>) => work(system, flags));
}

async function work(system: System, flags: Record<string, unknown>): Promise<void> {
  const options = readOptions(flags);
  const url = await queueAddress(flags);
  const tell = (event: WorkerEvent): void => {
    if (flags.json === true) system.stdout.write(`${JSON.stringify(told(event))}\n`);
    else system.stderr.write(`${printable(words(event))}\n`);
  };
  const { runWorker } = await loadQueueModule(() => import('../batch/queue/stack-worker.js'));
  const { InterruptedError } = await import('../errors.js');
  await interruptible(
    system.signals,
    async (signal) => {
      await runWorker(url, options, tell, signal);
      throw new InterruptedError('Ended; a stack in work went back to the queue.');
    },
    () => {},
    endingMs,
  );
}

function readOptions(flags: Record<string, unknown>): WorkerOptions {
  const lease = read(flags.lease, '--lease', 2, 3600, 's') ?? 30;
  return {
    below: flags.below as string[],
    threads: read(flags.threads, '--threads', 1, 256) ?? Math.min(256, availableParallelism()),
    memoryLimitMb: read(flags.memory, '--memory', 256, 1_048_576, 'MB'),
    nice: read(flags.nice, '--nice', 0, 19) ?? 0,
    leaseMs: lease * 1000,
  };
}

/** @param unit Of a quantity; a count has none, and is whole. */
function read(text: unknown, name: string, min: number, max: number, unit?: string): number | undefined {
  if (text === undefined) return undefined;
  const value = readQuantity(String(text), unit);
  const isKind = unit !== undefined || Number.isInteger(value);
  if (value !== undefined && value >= min && value <= max && isKind) return value;
  const noun = unit === undefined ? 'a whole number' : 'a number';
  const received = text === '' ? 'an empty text' : String(text);
  throw new UsageError(
    `Expected ${noun} from ${min} to ${max}${unit === undefined ? '' : ` ${unit}`} for ${name} but received ${received}`,
  );
}

function told(event: WorkerEvent): object {
  if (event.event !== 'end' || event.end.state !== 'done') return event;
  const { wallMs, warnings } = event.end.report;
  return { event: 'end', stack: event.stack, state: 'done', wallMs, warnings };
}

function words(event: WorkerEvent): string {
  switch (event.event) {
    case 'waiting':
      return 'Waiting for stacks. Ctrl-C ends.';
    case 'begin':
      return `${event.stack}: ${countOf(event.frames, 'frame')}`;
    case 'end':
      if (event.end.state === 'done') return `${event.stack}: done`;
      return event.end.state === 'failed'
        ? `${event.stack}: FAILED: ${event.end.reason}`
        : `${event.stack}: given back`;
    case 'refused':
      return `${event.stack}: not taken: ${event.reason}`;
    case 'notice':
      return event.message;
  }
}
