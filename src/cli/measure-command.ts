import { Command } from 'commander';
import { type MeasureOptions, measureOptionTable } from '../measure/measure-options.js';
import { printable } from '../printable.js';
import type { StoredMeasure } from '../result/measures-file.js';
import type { OutputTarget } from '../result/output-target.js';
import { interruptible } from './interruptible.js';
import { checkFlags, type MeasureFlags, measureFlags, requestsOf } from './measure-flags.js';
import { addFlags, flagsOf, readFlags } from './option-flags.js';
import type { System } from './system.js';

const epilogue = `
Points are "x,y x,y" and regions x,y,w,h or three or more corners "x,y x,y x,y", in pixels of the picture, counted from 0
at the upper left. Values are kept in measures.json of the result and drawn into its report. ± reaches over two standard
uncertainties. What cannot be known is reported as unknown, with the reason; no value is made up.

Exit codes:
  0    done
  1    a defect of Lamella
  2    an option, a point or a region is wrong
  3    the result cannot be read, or no scale is known for a scale bar
  4    a file cannot be written
  5    the machine does not give what is needed: memory, threads, open files, a folder
  130  interrupted; nothing was changed

Examples:
  lamella measure bee-head-merged --distance "310,95 342,90" --note "left antenna"
  lamella measure bee-head-merged --roughness 1200,830,200,200 --cutoff 0.08
  lamella measure bee-head-merged --profile "100,400 900,420" --curve section.svg
  lamella measure bee-head-merged --scale-bar bee-with-bar.png --print-width 200
  lamella measure bee-head-merged --table measures.csv`;

/** `lamella measure RESULT`. */
export function measureCommand(system: System): Command {
  const command = new Command('measure')
    .summary('distances, angles, areas, volumes and roughness of the subject; scale bars')
    .description(
      'Measure the subject of a result: lengths from pixels and depth with the perspective of the rail taken out, each with its uncertainty. Without anything to measure it lists what was measured, and the scale.',
    )
    .argument('<result>', 'result folder of a merge')
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', epilogue);
  return addFlags(command, measureFlags).action((folder: string, flags: Record<string, unknown>) =>
    runMeasure(system, folder, readFlags(measureFlags, flags), flagsOf(measureOptionTable, flags)),
  );
}

async function runMeasure(
  system: System,
  folder: string,
  flags: MeasureFlags,
  scaleOptions: Partial<MeasureOptions>,
): Promise<void> {
  const { readRunRecord } = await import('../result/read-run-record.js');
  const { resultScale } = await import('../relief/scale.js');
  const { magnificationsOf } = await import('../measure/magnification.js');
  const requests = requestsOf(flags);
  checkFlags(flags, requests);
  const record = await readRunRecord(folder);
  const inputs = [folder, record.folder];
  const targets = await targetsOf(flags, inputs);
  const { refuseUnfitTarget } = await import('../result/output-target.js');
  // Before anything is measured.
  for (const target of targets) await refuseUnfitTarget(target);
  const { scaleErrorPercent: _, ...lengths } = scaleOptions;
  const magnifications = magnificationsOf(record, resultScale(record, lengths), { ...lengths, ...flags });
  await interruptible(
    system.signals,
    async (signal) => {
      const { editMeasures } = await import('../measure/edit-measures.js');
      const { readMeasures, stateOfMeasures } = await import('../result/measures-file.js');
      const kept = await readMeasures(folder, record.size);
      const isOutdated = kept.some(({ state }) => state !== stateOfMeasures(record));
      // A table holds no outdated values; else the result is only read, which may lie where nothing can be written.
      const isEdit =
        requests.length + flags.drop.length > 0 || (!flags.list && flags.table !== undefined && isOutdated);
      const onWait = (holder: string) => {
        if (!flags.json)
          system.stderr.write(
            `${printable(`${folder} is being changed by ${holder}: waiting for its end.`)}\n`,
          );
      };
      const outcome = isEdit
        ? await editMeasures(folder, { add: requests, drop: flags.drop }, scaleOptions, { signal, onWait })
        : { measures: kept, added: [], renewed: [] };
      const bar = await writeFiles(folder, flags, outcome, record, lengths);
      if (flags.json) {
        const ids = outcome.added.map(({ id }) => id);
        system.stdout.write(
          `${JSON.stringify({ scale: magnifications, measures: outcome.measures, added: ids, ...(bar && { scaleBar: bar }) })}\n`,
        );
        return;
      }
      const { measureText, scaleText } = await import('../measure/measure-text.js');
      for (const id of outcome.renewed) {
        system.stderr.write(`Measure ${id} was taken anew: the depth had changed since.\n`);
      }
      const shown: readonly StoredMeasure[] = requests.length > 0 ? outcome.added : outcome.measures;
      system.stdout.write(
        shown.map((measure) => printableText(measureText(measure, stateOfMeasures(record)))).join('\n'),
      );
      if (requests.length === 0 || flags.scaleBar !== undefined || flags.printWidthMm !== undefined) {
        system.stdout.write(
          `${shown.length > 0 ? '\n' : ''}${scaleText(magnifications, flags.printWidthMm)}`,
        );
      }
      if (bar) system.stderr.write(`${printable(`Scale bar of ${bar.label}: ${flags.scaleBar}`)}\n`);
      for (const path of [flags.table, flags.curve])
        if (path) system.stderr.write(`${printable(`Written: ${path}`)}\n`);
    },
    () => undefined,
  );
}

function printableText(lines: string): string {
  return lines
    .split('\n')
    .map((line) => printable(line))
    .join('\n');
}

async function targetsOf(flags: MeasureFlags, inputs: readonly string[]): Promise<OutputTarget[]> {
  const { measuresTableMark } = await import('../measure/measures-table.js');
  const { profileDrawingMark, profileTableMark } = await import('../measure/profile-files.js');
  const { measuresSchemaName } = await import('../result/measures-file.js');
  const { overwrite } = flags;
  const target = (path: string | undefined, option: string, noun: string, marks: readonly string[]) =>
    path === undefined
      ? []
      : [
          {
            path,
            option,
            noun,
            inputs,
            overwrite,
            isOurs: (head: Buffer) => marks.some((mark) => head.includes(mark)),
          },
        ];
  const bar =
    flags.scaleBar === undefined
      ? []
      : [(await import('../measure/scale-bar.js')).scaleBarTarget(flags.scaleBar, inputs, overwrite)];
  return [
    ...target(flags.table, 'table', 'table of measures', [measuresTableMark, `"${measuresSchemaName}"`]),
    ...target(flags.curve, 'curve', 'profile', [profileDrawingMark, profileTableMark]),
    ...bar,
  ];
}

async function writeFiles(
  folder: string,
  flags: MeasureFlags,
  outcome: Awaited<ReturnType<typeof import('../measure/edit-measures.js').editMeasures>>,
  { size }: { size: { width: number; height: number } },
  lengths: Partial<MeasureOptions>,
): Promise<import('../measure/scale-bar.js').ScaleBar | undefined> {
  const { table, curve, scaleBar, barLengthMm, overwrite } = flags;
  const { writeAside } = await import('../result/output-file.js');
  if (table !== undefined) {
    const { measuresCsv, measuresJson } = await import('../measure/measures-table.js');
    const { measuresRecord } = await import('../result/measures-file.js');
    const { measures } = outcome;
    const content = table.toLowerCase().endsWith('.csv')
      ? measuresCsv(measures)
      : measuresJson(measuresRecord(size, measures));
    await writeAside(table, content, undefined, 'table');
  }
  if (curve !== undefined) {
    const { profileCsv, profileSvg } = await import('../measure/profile-files.js');
    const profile = outcome.added.find((measure) => measure.profile)!.profile!;
    await writeAside(
      curve,
      curve.toLowerCase().endsWith('.csv') ? profileCsv(profile) : profileSvg(profile),
      undefined,
      'curve',
    );
  }
  if (scaleBar === undefined) return undefined;
  const { writeScaleBar } = await import('../measure/scale-bar.js');
  return writeScaleBar(folder, scaleBar, {
    ...lengths,
    overwrite,
    ...(barLengthMm !== undefined && { barLengthMm }),
  });
}
