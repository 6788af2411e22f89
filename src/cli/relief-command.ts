import { Command } from 'commander';
import type { OptionTable } from '../options/option.js';
import { printable } from '../printable.js';
import { reliefOptionTable } from '../relief/relief-options.js';
import { jsonAnswer } from './common-options.js';
import { interruptible } from './interruptible.js';
import { addFlags, flagsOf, readFlags } from './option-flags.js';
import type { System } from './system.js';

const epilogue = `
Exit codes:
  0    the relief is written
  1    a defect of Lamella
  2    an option is wrong
  3    the result cannot be read, or has no depth that is known
  4    the file cannot be written
  5    the machine does not give what is needed: memory, open files, a folder
  130  interrupted

Examples:
  lamella relief bee-head-merged
  lamella relief bee-head-merged --out bee-head.stl --ground flat --triangles 1M
  lamella relief bee-head-merged --out bee-head.ply --step 0.02 --magnification 4 --pixel-pitch 3.9`;

interface OwnOptions {
  json: boolean;
}

const ownOptions: OptionTable<OwnOptions> = { json: jsonAnswer };

/** `lamella relief RESULT`. */
export function reliefCommand(system: System): Command {
  const command = new Command('relief')
    .summary('make a surface of a result: to turn, to measure, to print')
    .description(
      'Make a surface of a result from composite and depth, in millimetres where the scale is known: a .glb to show, a .ply or .obj for other programs, a closed .stl to print.',
    )
    .argument('<result>', 'result folder of a merge')
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', epilogue);
  return addFlags(command, { ...reliefOptionTable, ...ownOptions }).action(
    (folder: string, flags: Record<string, unknown>) => runRelief(system, folder, flags),
  );
}

async function runRelief(system: System, folder: string, flags: Record<string, unknown>): Promise<void> {
  const { json } = readFlags(ownOptions, flags);
  const { makeRelief } = await import('../relief/relief.js');
  const { reliefText } = await import('../relief/relief-text.js');
  await interruptible(
    system.signals,
    async (signal) => {
      const report = await makeRelief(folder, flagsOf(reliefOptionTable, flags), signal);
      if (json) {
        system.stdout.write(`${JSON.stringify(report)}\n`);
        return;
      }
      for (const note of report.notes) system.stderr.write(`Note: ${printable(note)}\n`);
      system.stderr.write(reliefText(report));
      system.stdout.write(`${report.out}\n`);
    },
    () => undefined,
  );
}
