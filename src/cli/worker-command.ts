import { Command } from 'commander';
import { batchOptionTable } from '../batch/batch-options.js';
import { loadQueueModule } from '../batch/queue/queue-packages.js';
import { queueAddress as queueAddressKind } from '../batch/queue/queue-url.js';
import type { WorkerEvent } from '../batch/queue/stack-worker.js';
import { mergeOptionTable } from '../options/merge-option-table.js';
import type { OptionTable } from '../options/option.js';
import { folderPath, number, several, toggle } from '../options/option-kinds.js';
import { printable } from '../printable.js';
import { countOf } from '../stack/words.js';
import { interruptible } from './interruptible.js';
import { addFlags, readFlags } from './option-flags.js';
import { passwordHelp, queueAddress, queuePasswordFile } from './queue-address.js';
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

interface OwnOptions {
  queue: string;
  below: string[];
  queuePasswordFile?: string;
  threads: number;
  memoryMb?: number;
  nice: number;
  leaseS: number;
  json: boolean;
}

const { threads, memoryMb } = mergeOptionTable;
const { group: _, ...nice } = batchOptionTable.nice;

const ownOptions: OptionTable<OwnOptions> = {
  queue: {
    kind: queueAddressKind,
    isRequired: true,
    help: 'Redis server that holds the queue, e.g. redis://host:6379',
  },
  below: {
    kind: several(folderPath()),
    help: 'read photographs and write results only below this folder; required, and may be given more than once',
  },
  queuePasswordFile,
  threads: {
    kind: threads.kind,
    help: 'threads that compute',
    ...(threads.default !== undefined && { default: threads.default }),
    defaultText: 'one a core',
  },
  memoryMb: { kind: memoryMb.kind, help: 'a stack that takes more is ended and fails' },
  nice,
  leaseS: {
    kind: number(2, 3600, 's'),
    help: 'a worker that is silent for this time loses its stack to another',
    default: 30,
  },
  json: { kind: toggle, help: 'print one JSON event a line on stdout, for programs' },
};

/** `lamella worker --queue URL --below FOLDER`. */
export function workerCommand(system: System): Command {
  const command = new Command('worker')
    .summary('merge stacks that batches on other machines hand out')
    .description('Merge the stacks that lamella batch --queue hands out, one at a time, until it is ended.')
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', epilogue);
  return addFlags(command, ownOptions).action((flags: Record<string, unknown>) =>
    work(system, readFlags(ownOptions, flags)),
  );
}

async function work(system: System, given: OwnOptions): Promise<void> {
  const { below, threads, memoryMb: memoryLimitMb, nice, leaseS, json } = given;
  const options = { below, threads, memoryLimitMb, nice, leaseMs: leaseS * 1000 };
  const url = await queueAddress(given);
  const report = (event: WorkerEvent): void => {
    if (json) system.stdout.write(`${JSON.stringify(recordOf(event))}\n`);
    else system.stderr.write(`${printable(textOf(event))}\n`);
  };
  const { runWorker } = await loadQueueModule(() => import('../batch/queue/stack-worker.js'));
  const { InterruptedError } = await import('../errors.js');
  await interruptible(
    system.signals,
    async (signal) => {
      await runWorker(url, options, report, signal);
      throw new InterruptedError('Ended; a stack in work went back to the queue.');
    },
    () => {},
    endingMs,
  );
}

function recordOf(event: WorkerEvent): object {
  if (event.event !== 'end' || event.end.state !== 'done') return event;
  const { wallMs, warnings } = event.end.report;
  return { event: 'end', stack: event.stack, state: 'done', wallMs, warnings };
}

function textOf(event: WorkerEvent): string {
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
