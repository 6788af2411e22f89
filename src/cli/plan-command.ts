import { extname } from 'node:path';
import { Command } from 'commander';
import type { OptionTable } from '../options/option.js';
import { fileName, toggle } from '../options/option-kinds.js';
import { planOptionTable } from '../plan/option-table.js';
import type { SheetFormat } from '../plan/sheet.js';
import { sheetMarks } from '../plan/sheet-marks.js';
import { printable } from '../printable.js';
import { type OutputTarget, refuseUnfitTarget } from '../result/output-target.js';
import { addFlags, flagsOf, readFlags } from './option-flags.js';
import type { System } from './system.js';

const epilogue = `
Exit codes:
  0    the plan is printed (and its sheet written)
  1    a defect of Lamella
  2    an option is wrong or missing, or names what cannot be
  4    the sheet cannot be written

Examples: a 100 mm lens on 68 mm of tubes; a 10x objective; a landscape
  lamella plan --focal-length 100 --extension 68 --f-number 5.6 --sensor aps-c --pixels 24MP --depth 5 --sheet bee.html
  lamella plan --magnification 10 --na 0.25 --sensor full-frame --pixels 6000x4000 --depth 0.4 --travel-per-turn 0.1
  lamella plan --landscape --focal-length 24 --f-number 8 --sensor full-frame --pixels 24MP --near 0.8`;

interface OwnOptions {
  sheet?: string;
  overwrite: boolean;
  json: boolean;
}

const group = 'Output';

const ownOptions: OptionTable<OwnOptions> = {
  sheet: {
    kind: fileName('FILE', '.html', '.csv'),
    group,
    help: 'write a sheet of positions to tick off, as .html to print or as .csv',
  },
  overwrite: { kind: toggle, group, help: 'replace an earlier sheet' },
  json: {
    kind: toggle,
    group,
    help: 'print the plan as JSON on stdout, for programs, and no text but errors',
  },
};

/** `lamella plan`. */
export function planCommand(system: System): Command {
  const command = new Command('plan')
    .summary('plan a stack before it is shot: depth of field, step, frames, knob readings')
    .description(
      'Plan a stack before it is shot: magnification, depth of field, step, number of frames, and where to set the rail for each. ' +
        'Give the lens with its extension, or the magnification that a photographed ruler shows.',
    )
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', epilogue);
  return addFlags(command, { ...planOptionTable, ...ownOptions }).action((flags: Record<string, unknown>) =>
    runPlan(system, flags),
  );
}

async function runPlan(system: System, flags: Record<string, unknown>): Promise<void> {
  const { json, ...given } = readFlags(ownOptions, flags);
  const sheet = sheetOf(given);
  if (sheet) await refuseUnfitTarget(sheet);
  const { plan } = await import('../plan/plan.js');
  const planned = plan(flagsOf(planOptionTable, flags));
  if (sheet) {
    const { planSheet } = await import('../plan/sheet.js');
    const { writeAside } = await import('../result/output-file.js');
    await writeAside(sheet.path, planSheet(planned, sheet.format), undefined, 'sheet');
  }
  if (json) {
    system.stdout.write(`${JSON.stringify(planned)}\n`);
    return;
  }
  const { planText } = await import('../plan/plan-text.js');
  system.stdout.write(planText(planned));
  for (const note of planned.notes) system.stderr.write(`Note: ${note}\n`);
  for (const warning of planned.warnings) system.stderr.write(`Warning: ${warning}\n`);
  if (sheet) system.stderr.write(`${printable(`Sheet: ${sheet.path}`)}\n`);
}

/** The sheet that is asked for. */
function sheetOf({
  sheet,
  overwrite,
}: Omit<OwnOptions, 'json'>): (OutputTarget & { format: SheetFormat }) | undefined {
  if (sheet === undefined) return undefined;
  const format = extname(sheet).toLowerCase() === '.csv' ? 'csv' : 'html';
  const isOurs = (head: Buffer): boolean => sheetMarks[format].test(head.toString('utf8'));
  return { path: sheet, option: 'sheet', noun: 'sheet of a plan', overwrite, isOurs, format };
}
