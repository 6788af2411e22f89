import { Command } from 'commander';
import type { OptionTable } from '../options/option.js';
import { toggle } from '../options/option-kinds.js';
import { portNumber } from '../view/port.js';
import { openBrowser } from './open-browser.js';
import { addFlags, readFlags } from './option-flags.js';
import type { System } from './system.js';

const epilogue = `
The desk is served to this machine alone, under an address that nobody can guess; it needs no network.
It lives until Ctrl-C, which ends what it is merging and leaves nothing half done.

Exit codes:
  0    ended by Ctrl-C
  1    a defect of Lamella
  2    an option is wrong, or the port is taken
  3    the folder cannot be read
  5    the machine does not give what is needed: memory, threads, open files, a folder

Examples:
  lamella
  lamella desk /media/card --no-open`;

interface OwnOptions {
  port?: number;
  noOpen: boolean;
}

const ownOptions: OptionTable<OwnOptions> = {
  port: { kind: portNumber, help: 'port', defaultText: 'a free one' },
  noOpen: { kind: toggle, help: 'print the address and open no browser' },
};

/** `lamella desk [FOLDER]`, and `lamella` alone. */
export function deskCommand(system: System): Command {
  const command = new Command('desk')
    .summary('do the whole job in the browser, from the photographs to the finished picture')
    .description(
      'Open a page in the browser of this machine for the whole job: find the photographs, merge them, look at the result and mend it, merge many stacks overnight. "lamella" alone does the same.',
    )
    .argument('[folder]', 'show this folder and what lies below it alone (default: home and mounted media)')
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', epilogue);
  return addFlags(command, ownOptions).action((folder: string | undefined, flags: Record<string, unknown>) =>
    runDesk(system, folder, readFlags(ownOptions, flags)),
  );
}

async function runDesk(
  system: System,
  folder: string | undefined,
  { port, noOpen }: OwnOptions,
): Promise<void> {
  const { serveDesk } = await import('../desk/serve.js');
  const { settingsFolder } = await import('../desk/kept-plan.js');
  const served = await serveDesk({ folder, port, settings: settingsFolder() });
  // Ending is how this command succeeds, so a signal is no failure here.
  const ended = new Promise<void>((resolve) => {
    for (const name of ['SIGINT', 'SIGTERM'] as const) system.signals.once(name, () => resolve());
  });
  system.stdout.write(`${served.address}\n`);
  const isOpened = !noOpen && openBrowser(served.entrance());
  const place = isOpened
    ? 'The desk opens in your browser. If it does not, open this address on this machine.'
    : 'Open this address in a browser on this machine.';
  system.stderr.write(`${place} It lives until Ctrl-C.\n`);
  await ended;
  system.stderr.write('Closing the desk\n');
  await served.close();
}
