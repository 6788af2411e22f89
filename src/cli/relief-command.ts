import { Command } from 'commander';
import { named, UsageError } from '../errors.js';
import type { OptionTable } from '../options/option.js';
import { refuseBoth } from '../options/validate-options.js';
import { printable } from '../printable.js';
import { loopOptionTable } from '../relief/loop-options.js';
import { reliefOptionTable } from '../relief/relief-options.js';
import { stereoOptionTable } from '../relief/stereo-options.js';
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
  lamella relief bee-head-merged --out bee-head.ply --step 0.02 --magnification 4 --pixel-pitch 3.9
  lamella relief bee-head-merged --stereo anaglyph-colour
  lamella relief bee-head-merged --loop rocking --out bee-head.webp`;

interface OwnOptions {
  json: boolean;
}

const ownOptions: OptionTable<OwnOptions> = { json: jsonAnswer };

/** All that the command takes: what is not for what it makes is refused there. */
const allOptions = {
  ...stereoOptionTable,
  ...loopOptionTable,
  ...reliefOptionTable,
  out: {
    ...reliefOptionTable.out,
    help: `${reliefOptionTable.out.help}; with --stereo a .jpg or .png; with --loop a .webp, or a new folder for numbered .png`,
    defaultText:
      'the name of the result with -relief.glb, -stereo.jpg, -rocking.webp or -travel.webp, beside it',
  },
};

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
  return addFlags(command, { ...allOptions, ...ownOptions }).action(
    (folder: string, flags: Record<string, unknown>) => runRelief(system, folder, flags),
  );
}

async function runRelief(system: System, folder: string, flags: Record<string, unknown>): Promise<void> {
  const { json } = readFlags(ownOptions, flags);
  const make = chooseMaker(flagsOf(allOptions, flags));
  await interruptible(
    system.signals,
    async (signal) => {
      const { report, text } = await make(folder, signal);
      if (json) {
        system.stdout.write(`${JSON.stringify(report)}\n`);
        return;
      }
      for (const note of report.notes) system.stderr.write(`Note: ${printable(note)}\n`);
      system.stderr.write(text);
      system.stdout.write(`${report.out}\n`);
    },
    () => undefined,
  );
}

type Maker = (
  folder: string,
  signal: AbortSignal,
) => Promise<{ report: { out: string; notes: string[] }; text: string }>;

/** What is to be made, by the options that are given. */
function chooseMaker(given: Record<string, unknown>): Maker {
  refuseBoth(given, 'stereo', 'loop');
  if (given.stereo !== undefined) {
    refuseOthers(given, stereoOptionTable, 'stereo');
    return async (folder, signal) => {
      const { makeStereo } = await import('../relief/stereo.js');
      const { stereoText } = await import('../relief/relief-text.js');
      const report = await makeStereo(folder, given, signal);
      return { report, text: stereoText(report) };
    };
  }
  if (given.loop !== undefined) {
    refuseOthers(given, loopOptionTable, 'loop');
    return async (folder, signal) => {
      const { makeLoop } = await import('../relief/loop.js');
      const { loopText } = await import('../relief/relief-text.js');
      const report = await makeLoop(folder, given, signal);
      return { report, text: loopText(report) };
    };
  }
  for (const option of ['comfortPercent', 'framesFrom']) {
    if (given[option] === undefined) continue;
    throw new UsageError(
      `Expected ${named('stereo')} or ${named('loop')} beside ${named(option)} but received neither.`,
    );
  }
  return async (folder, signal) => {
    const { makeRelief } = await import('../relief/relief.js');
    const { reliefText } = await import('../relief/relief-text.js');
    const report = await makeRelief(folder, given, signal);
    return { report, text: reliefText(report) };
  };
}

function refuseOthers(given: Record<string, unknown>, table: object, maker: string): void {
  const other = Object.keys(given).find((option) => !(option in table));
  if (other === undefined) return;
  throw new UsageError(
    `Expected no ${named(other)} beside ${named(maker)}, which makes no surface: leave it out.`,
  );
}
