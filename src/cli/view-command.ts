import { Command } from 'commander';
import { UsageError } from '../errors.js';
import { readNumber } from '../options/read-number.js';
import { printable } from '../printable.js';
import type { System } from './system.js';

const epilogue = `
The page is served to this machine alone, under an address that nobody can guess; it needs no network.
It lives until Ctrl-C.

Exit codes:
  0    ended by Ctrl-C
  1    a defect of Lamella
  2    an option is wrong, or the port is taken
  3    the result cannot be read
  5    the machine does not give what is needed: memory, threads, open files, a folder

Example:
  lamella view bee-head-merged`;

interface ViewFlags {
  port?: string;
  framesFrom?: string;
}

/** `lamella view RESULT`. */
export function viewCommand(system: System): Command {
  return new Command('view')
    .summary('look at a result in the browser, trace it, measure it and mend it')
    .description(
      'Serve a page on this machine that shows a result: picture, depth, sources and every frame, the rail ruler, sections and distances, and mends by hand. Open the address that it prints.',
    )
    .argument('<result>', 'result folder of a merge')
    .helpOption('-h, --help', 'show this help')
    .option('--port <PORT>', 'port, 1 to 65535 (default: a free one)')
    .option('--frames-from <FOLDER>', 'where the frames lie now, if they moved since the merge')
    .addHelpText('after', epilogue)
    .action((folder: string, flags: ViewFlags) => runView(system, folder, flags));
}

async function runView(system: System, folder: string, flags: ViewFlags): Promise<void> {
  const port = flags.port === undefined ? undefined : readNumber(flags.port);
  const isPort =
    port === undefined ? flags.port === undefined : Number.isInteger(port) && port >= 1 && port <= 65535;
  if (!isPort) {
    throw new UsageError(`Expected a whole number from 1 to 65535 for --port but received ${flags.port}`);
  }
  system.stderr.write(`Opening ${printable(folder)}\n`);
  const { serveResult } = await import('../view/serve.js');
  const served = await serveResult(folder, { port, framesFrom: flags.framesFrom });
  // Ending is how this command succeeds, so a signal is no failure here.
  const ended = new Promise<void>((resolve) => {
    for (const name of ['SIGINT', 'SIGTERM'] as const) system.signals.once(name, () => resolve());
  });
  system.stdout.write(`${served.address}\n`);
  system.stderr.write(
    `Open this address in a browser on this machine. ${printable(folder)} stays open until Ctrl-C.\n`,
  );
  await ended;
  await served.close();
}
