import { Command } from 'commander';
import { InputError } from '../errors.js';
import type { OptionTable } from '../options/option.js';
import { fileName, toggle } from '../options/option-kinds.js';
import { printable } from '../printable.js';
import type { PictureRegion } from '../trace/picture-region.js';
import { framesFrom, jsonAnswer } from './common-options.js';
import { openReadingLine } from './frame-progress.js';
import { interruptible } from './interruptible.js';
import { addFlags, readFlags } from './option-flags.js';
import type { System } from './system.js';

const epilogue = `
Exit codes:
  0    done
  1    a defect of Lamella
  2    an option or the region is wrong
  3    the result (or, for --crops, a frame) cannot be read
  4    the contact sheet cannot be written
  5    the machine does not give what is needed: memory, threads, open files, a folder
  130  interrupted

Examples:
  lamella trace bee-head-merged 1200,830
  lamella trace bee-head-merged 1200,830,64,48 --crops eye.png`;

interface OwnOptions {
  crops?: string;
  overwrite: boolean;
  framesFrom?: string;
  json: boolean;
}

const ownOptions: OptionTable<OwnOptions> = {
  crops: {
    kind: fileName('FILE.png', '.png'),
    help: 'write a contact sheet: the region in the composite and the best frames',
  },
  overwrite: { kind: toggle, help: 'replace an earlier contact sheet' },
  framesFrom,
  json: jsonAnswer,
};

/** `lamella trace RESULT X,Y[,W,H]`. */
export function traceCommand(system: System): Command {
  const command = new Command('trace')
    .summary('show which frames a pixel or region came from, and how far to trust it')
    .description(
      'Show which frames supplied a pixel or region of a result, with depth, confidence, coverage and the focus curve.',
    )
    .argument('<result>', 'result folder of a merge')
    .argument('<region>', 'X,Y or X,Y,W,H in pixels of the composite, counted from 0 at the upper left')
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', epilogue);
  return addFlags(command, ownOptions).action(
    (folder: string, region: string, flags: Record<string, unknown>) =>
      runTrace(system, folder, region, readFlags(ownOptions, flags)),
  );
}

async function runTrace(
  system: System,
  folder: string,
  text: string,
  { crops, overwrite, framesFrom, json }: OwnOptions,
): Promise<void> {
  const { traceRegion } = await import('../trace/trace.js');
  const { parsePictureRegion } = await import('../trace/picture-region.js');
  const { readRunRecord } = await import('../result/read-run-record.js');
  const { traceText } = await import('../trace/trace-text.js');
  const { folder: photographs } = await readRunRecord(folder);
  const region: PictureRegion = parsePictureRegion(text);
  const sheet = crops === undefined ? undefined : await import('../trace/contact-sheet.js');
  // Before anything else is read.
  await sheet?.refuseUnfitSheet(crops ?? '', folder, photographs, { framesFrom, overwrite });
  await interruptible(
    system.signals,
    async (signal) => {
      const options = { framesFrom, signal };
      const { onProgress, close } = openReadingLine(system.stderr);
      const report = await traceRegion(folder, region, { ...options, onProgress }).finally(close);
      for (const warning of report.warnings) system.stderr.write(`Warning: ${printable(warning)}\n`);
      if (sheet) {
        if (!report.focusCurve) {
          throw new InputError(`No frame can be read for --crops: ${report.warnings.join(' ')}`);
        }
        await sheet.writeContactSheet(crops ?? '', folder, report, { ...options, overwrite });
        if (!json) system.stderr.write(`Contact sheet: ${printable(crops ?? '')}\n`);
      }
      const lines = () => traceText(report, system.stdout.columns ?? 100);
      system.stdout.write(json ? `${JSON.stringify(report)}\n` : lines());
    },
    () => undefined,
  );
}
