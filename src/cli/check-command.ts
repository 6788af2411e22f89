import { Command } from 'commander';
import { checkOptionTable, resolveCheckOptions } from '../check/check-options.js';
import { checkPageTitleEnd } from '../check/page-title.js';
import { LamellaError, named, UsageError } from '../errors.js';
import type { OptionTable } from '../options/option.js';
import { fileName, toggle } from '../options/option-kinds.js';
import { printable } from '../printable.js';
import { type OutputTarget, refuseUnfitTarget } from '../result/output-target.js';
import { resolveWatchOptions, type WatchOnlyOptions, watchOptionTable } from '../watch/watch-options.js';
import { openReadingLine } from './frame-progress.js';
import { interruptible } from './interruptible.js';
import { addFlags, flagsOf, readFlags } from './option-flags.js';
import { nameFileOfPositions, positionsFileOptions, withPositions } from './positions-file.js';
import type { System } from './system.js';
import { openWatchScreen } from './watch-screen.js';

const epilogue = `
With --watch it goes on until Ctrl-C, and the exit code is that of the stack as it is then.

Exit codes:
  0    fit to merge
  1    something spoils the merge (or a defect of Lamella, which prints lines to report)
  2    an option is wrong
  3    the frames cannot be read or do not form a stack
  4    the page cannot be written
  5    the machine does not give what is needed: memory, threads, open files, a folder
  130  interrupted

Examples, with the step of the rail and its knob, so that advice comes in mm and turns:
  lamella check bee-head --step 0.05 --travel-per-turn 0.5 --page bee-head-check.html
  lamella check tether-folder --watch --step 0.05 --planned-frames 60`;

/** The frame that a watch is at when it is told to end is judged to the end. */
const watchEndingMs = 5000;

/** Exit code of a stack that is not fit to merge. */
const unfit = 1;

interface OwnOptions extends WatchOnlyOptions {
  watch: boolean;
  tone: boolean;
  framesTable: boolean;
  page?: string;
  overwrite: boolean;
  json: boolean;
}

const group = 'Output';

const ownOptions: OptionTable<OwnOptions> = {
  watch: {
    kind: toggle,
    group: 'Watching',
    help: 'wait for frames to arrive in the folder and judge each, while the lamps are on, until Ctrl-C',
  },
  ...watchOptionTable,
  tone: {
    kind: toggle,
    group: 'Watching',
    help: 'ring the bell of the terminal for each frame: once when it is good, three times when something is wrong with it',
  },
  framesTable: {
    kind: toggle,
    group,
    help: 'print a table of all frames below the verdict; the page has it always',
  },
  page: {
    kind: fileName('FILE.html', '.html'),
    group,
    help: 'write a page with the verdicts, a strip of the frames, and plots',
  },
  overwrite: { kind: toggle, group, help: 'replace an earlier page' },
  json: {
    kind: toggle,
    group,
    help: 'print the report as JSON on stdout, for programs, and no text but errors; of a watch, each event as a line',
  },
};

/** `lamella check FOLDER`. */
export function checkCommand(system: System): Command {
  const command = new Command('check')
    .summary('check a folder of photographs before it is merged: order, steps, focus, light, dust')
    .description(
      'Check the photographs of a stack before they are merged, in a few seconds: order, steps and shakes, what is sharp ' +
        'where and what never, light, clipping and dust. Each verdict names its frames and says what to do.',
    )
    .argument('<folder>', 'folder of the frames: JPEG, PNG, TIFF, WebP or camera raw files, all of one size')
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', epilogue);
  return addFlags(command, { ...checkOptionTable, ...positionsFileOptions, ...ownOptions }).action(
    (folder: string, flags: Record<string, unknown>) => runCheck(system, folder, flags),
  );
}

async function runCheck(system: System, folder: string, flags: Record<string, unknown>): Promise<void> {
  const { page, overwrite, json, framesTable, watch, plannedFrames, tone } = readFlags(ownOptions, flags);
  if (folder === '') throw new UsageError('Expected the path of a folder but received an empty text');
  if (watch) return runWatch(system, folder, flags);
  for (const [field, isGiven] of Object.entries({ plannedFrames: plannedFrames !== undefined, tone })) {
    if (!isGiven) continue;
    throw new UsageError(`Expected ${named('watch')} beside ${named(field)} but received only the latter.`);
  }
  const target: OutputTarget | undefined =
    page === undefined
      ? undefined
      : { path: page, option: 'page', noun: 'page of a check', inputs: [folder], overwrite, isOurs };
  const path = target?.path;
  if (target) await refuseUnfitTarget(target);
  const options = await withPositions(flagsOf(checkOptionTable, flags), flags, resolveCheckOptions);
  const { check } = await import('../check/check.js');
  const strips = new Map<number, Promise<string>>();
  const reading = openReadingLine(system.stderr);
  const report = await interruptible(
    system.signals,
    async (signal) => {
      const { stripUri } = await import('../check/strip-pictures.js');
      const checked = await check(folder, options, {
        signal,
        onProgress: reading.onProgress,
        ...(path !== undefined && { onStrip: (strip, number) => strips.set(number, stripUri(strip)) }),
      });
      if (target) {
        const { checkPage } = await import('../check/check-page.js');
        const { writeAside } = await import('../result/output-file.js');
        const pictures = new Map<number, string>();
        for (const [number, picture] of strips) pictures.set(number, await picture);
        await refuseUnfitTarget(target);
        await writeAside(target.path, checkPage(checked, pictures), undefined, 'page');
      }
      return checked;
    },
    // What is written aside has a name of its own, and nothing else is written.
    () => {},
  )
    .finally(reading.close)
    .catch((error: unknown) => {
      throw nameFileOfPositions(error, flags);
    });
  if (json) {
    system.stdout.write(`${JSON.stringify(report)}\n`);
  } else {
    const { checkText } = await import('../check/check-text.js');
    system.stdout.write(checkText(report, { width: system.stdout.columns, framesTable }));
    if (path !== undefined) system.stderr.write(`${printable(`Page: ${path}`)}\n`);
  }
  // All has been said: no message, only the code.
  if (!report.fit) throw new LamellaError('', unfit);
}

async function runWatch(system: System, folder: string, flags: Record<string, unknown>): Promise<void> {
  const { json, page, framesTable, overwrite, plannedFrames, tone } = readFlags(ownOptions, flags);
  for (const [field, isGiven] of Object.entries({ page: page !== undefined, framesTable, overwrite })) {
    if (isGiven) throw new UsageError(`Expected no ${named(field)} beside ${named('watch')}.`);
  }
  const given = {
    ...flagsOf(checkOptionTable, flags),
    ...(plannedFrames !== undefined && { plannedFrames }),
  };
  const options = await withPositions(given, flags, resolveWatchOptions);
  const { watch } = await import('../watch/watch.js');
  const screen = openWatchScreen(system, { json, tone });
  const report = await interruptible(
    system.signals,
    (signal) => watch(folder, options, { signal, onEvent: screen.onEvent }),
    () => {},
    watchEndingMs,
  ).finally(screen.close);
  if (!report.fit) throw new LamellaError('', unfit);
}

/** Whether a file is the page of a check. */
function isOurs(head: Buffer): boolean {
  return head.includes(`${checkPageTitleEnd}</title>`);
}
