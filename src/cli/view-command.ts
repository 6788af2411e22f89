import { Command } from 'commander';
import type { OptionTable } from '../options/option.js';
import { printable } from '../printable.js';
import { portNumber } from '../view/port.js';
import { framesFrom } from './common-options.js';
import { addFlags, readFlags } from './option-flags.js';
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

interface OwnOptions {
  port?: number;
  framesFrom?: string;
}

const ownOptions: OptionTable<OwnOptions> = {
  port: { kind: portNumber, help: 'port', defaultText: 'a free one' },
  framesFrom,
};

/** `lamella view RESULT`. */
export function viewCommand(system: System): Command {
  const command = new Command('view')
    .summary('look at a result in the browser, trace it, measure it and mend it')
    .description(
      'Serve a page on this machine that shows a result: picture, depth, sources and every frame, the rail ruler, sections and distances, and mends by hand. Open the address that it prints.',
    )
    .argument('<result>', 'result folder of a merge')
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', epilogue);
  return addFlags(command, ownOptions).action((folder: string, flags: Record<string, unknown>) =>
    runView(system, folder, readFlags(ownOptions, flags)),
  );
}

async function runView(system: System, folder: string, options: OwnOptions): Promise<void> {
  system.stderr.write(`Opening ${printable(folder)}\n`);
  const { serveResult } = await import('../view/serve.js');
  const served = await serveResult(folder, options);
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
