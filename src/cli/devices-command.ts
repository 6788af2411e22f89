import { Command } from 'commander';
import type { OptionTable } from '../options/option.js';
import { printable } from '../printable.js';
import { jsonAnswer } from './common-options.js';
import { addFlags, readFlags } from './option-flags.js';
import type { System } from './system.js';

const epilogue = `
merge and batch take a device by --device: cpu, gpu, or gpu:N by its number here.

Exit codes:
  0    done
  1    a defect of Lamella
  2    an option is wrong

Example:
  lamella devices`;

interface OwnOptions {
  json: boolean;
}

const ownOptions: OptionTable<OwnOptions> = { json: jsonAnswer };

/** `lamella devices`. */
export function devicesCommand(system: System): Command {
  const command = new Command('devices')
    .summary('graphics processors that can merge')
    .description('List the graphics processors that can merge, and what auto takes.')
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', epilogue);
  return addFlags(command, ownOptions).action((flags: Record<string, unknown>) =>
    runDevices(system, readFlags(ownOptions, flags)),
  );
}

async function runDevices(system: System, { json }: OwnOptions): Promise<void> {
  const { findDevices } = await import('../merge/find-devices.js');
  const found = await findDevices();
  if (json) {
    system.stdout.write(`${JSON.stringify(found)}\n`);
    return;
  }
  const lines = [
    ...found.devices.map(
      ({ device, name, count, maxBufferMib, isSoftware }) =>
        `${device}  ${name}, ${count > 1 ? `first of ${count} alike, ` : ''}buffers of up to ${maxBufferMib} MiB${isSoftware ? ', emulated by the processor: for tests' : ''}`,
    ),
    'cpu    the processor',
    ...(found.missing === undefined ? [] : [`No graphics processor: ${found.missing}.`]),
    `auto takes ${found.auto}.`,
  ];
  system.stdout.write(`${lines.map(printable).join('\n')}\n`);
}
