import { extname } from 'node:path';
import { Command } from 'commander';
import {
  type CheckOptions,
  checkOptionKeys,
  type KnobOptions,
  knobOptionKeys,
} from '../check/check-options.js';
import { checkPageTitleEnd } from '../check/page-title.js';
import { LamellaError, OutputError, UsageError } from '../errors.js';
import { mergeOptionTable } from '../options/merge-option-table.js';
import { planOptionTable } from '../plan/option-table.js';
import { printable } from '../printable.js';
import { type OutputTarget, refuseUnfitTarget } from '../result/output-target.js';
import { showReading } from './frame-progress.js';
import { interruptible } from './interruptible.js';
import { addMergeFlags, givenMergeOptions } from './option-flags.js';
import { addPlanFlags, givenPlanOptions } from './plan-flags.js';
import { nameFileOfPositions, readPositionsFile } from './positions-file.js';
import type { System } from './system.js';

const epilogue = `
Exit codes:
  0    fit to merge
  1    something spoils the merge (or a defect of Lamella, which prints lines to report)
  2    an option is wrong
  3    the frames cannot be read or do not form a stack
  4    the page cannot be written
  5    the machine does not give what is needed: memory, threads, open files, a folder
  130  interrupted

Example, with the step of the rail and its knob, so that advice comes in mm and turns:
  lamella check bee-head --step 0.05 --travel-per-turn 0.5 --page bee-head-check.html`;

/** Exit code of a stack that is not fit to merge. */
const unfit = 1;

/** `lamella check FOLDER`. */
export function checkCommand(system: System): Command {
  const command = new Command('check')
    .summary('check a folder of photographs before it is merged: order, steps, focus, light, dust')
    .description(
      'Check the photographs of a stack before they are merged, in a few seconds: order, steps and shakes, what is sharp ' +
        'where and what never, light, clipping and dust. Each verdict names its frames and says what to do.',
    )
    .argument('<folder>', 'folder of the frames: JPEG, PNG, TIFF or WebP, all of one size')
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', epilogue);
  addMergeFlags(
    command,
    mergeOptionTable.filter(({ key }) => checkOptionKeys.some((known) => known === key)),
  );
  addPlanFlags(
    command,
    planOptionTable.filter(({ key }) => knobOptionKeys.some((known) => known === key)),
  );
  return command
    .optionsGroup('Words and data:')
    .option('--frames-table', 'print a table of all frames below the verdict; the page has it always')
    .option('--page <FILE.html>', 'write a page with the verdicts, a strip of the frames, and plots')
    .option('--overwrite', 'replace an earlier page')
    .option('--json', 'print the report as JSON on stdout, for programs, and no words but errors')
    .action((folder: string, flags: Record<string, unknown>) => runCheck(system, folder, flags));
}

async function runCheck(system: System, folder: string, flags: Record<string, unknown>): Promise<void> {
  const { page, overwrite, json, framesTable, positions, ...others } = flags;
  if (folder === '') throw new UsageError('Expected the path of a folder but received an empty text');
  const target = pageTarget(page, folder, overwrite === true);
  const path = target?.path;
  if (target) await refuseUnfitTarget(target);
  const [{ check }, { resolveCheckOptions }] = await Promise.all([
    import('../check/check.js'),
    import('../check/check-options.js'),
  ]);
  const given: Partial<CheckOptions> = { ...givenMergeOptions(others), ...givenKnob(others) };
  if (typeof positions === 'string') {
    // A slip in the flags should not wait for the file: they are checked beside positions that stand in.
    resolveCheckOptions({ ...given, positionsMm: [0, 1] });
    given.positionsMm = await readPositionsFile(positions);
  }
  const strips = new Map<number, Promise<string>>();
  const report = await interruptible(
    system.signals,
    async (signal) => {
      const { stripUri } = await import('../check/strip-pictures.js');
      const checked = await check(folder, given, {
        signal,
        onProgress: (done, frames) => showReading(system.stderr, done, frames),
        ...(path !== undefined && { onStrip: (strip, number) => strips.set(number, stripUri(strip)) }),
      });
      if (target) {
        const { checkPage } = await import('../check/check-page.js');
        const pictures = new Map<number, string>();
        for (const [number, picture] of strips) pictures.set(number, await picture);
        await refuseUnfitTarget(target);
        await writePage(target.path, checkPage(checked, pictures));
      }
      return checked;
    },
    // What is written aside has a name of its own, and nothing else is written.
    () => {},
  ).catch((error: unknown) => {
    throw nameFileOfPositions(error, positions);
  });
  if (json === true) {
    system.stdout.write(`${JSON.stringify(report)}\n`);
  } else {
    const { checkText } = await import('../check/check-text.js');
    system.stdout.write(
      checkText(report, { width: system.stdout.columns, framesTable: framesTable === true }),
    );
    if (path !== undefined) system.stderr.write(`${printable(`Page: ${path}`)}\n`);
  }
  // All has been said: no message, only the code.
  if (!report.fit) throw new LamellaError('', unfit);
}

function givenKnob(flags: Record<string, unknown>): KnobOptions {
  const { travelPerTurnMm, marksPerTurn } = givenPlanOptions(flags);
  return {
    ...(travelPerTurnMm !== undefined && { travelPerTurnMm }),
    ...(marksPerTurn !== undefined && { marksPerTurn }),
  };
}

/** The page that is asked for. */
function pageTarget(page: unknown, folder: string, overwrite: boolean): OutputTarget | undefined {
  if (typeof page !== 'string') return undefined;
  if (extname(page).toLowerCase() !== '.html') {
    throw new UsageError(
      `Expected a file name that ends in .html for --page but received ${page === '' ? 'an empty text' : page}`,
    );
  }
  const isOurs = (head: Buffer) => head.includes(`${checkPageTitleEnd}</title>`);
  return { path: page, option: 'page', noun: 'page of a check', inputs: [folder], overwrite, isOurs };
}

async function writePage(path: string, text: string): Promise<void> {
  const { writeAside } = await import('../result/output-file.js');
  try {
    await writeAside(path, text);
  } catch (error) {
    // The advice of the writer of results names the option that results have.
    if (error instanceof OutputError)
      throw new OutputError(error.message.replaceAll('--out', '--page'), { cause: error });
    throw error;
  }
}
