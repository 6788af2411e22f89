import { Command } from 'commander';
import { InputError, UsageError } from '../errors.js';
import { printable } from '../printable.js';
import type { PictureRegion } from '../trace/picture-region.js';
import { showReading } from './frame-progress.js';
import { interruptible } from './interruptible.js';
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

interface TraceFlags {
  crops?: string;
  overwrite?: boolean;
  json?: boolean;
  framesFrom?: string;
}

/** `lamella trace RESULT X,Y[,W,H]`. */
export function traceCommand(system: System): Command {
  return new Command('trace')
    .summary('tell which frames a pixel or region came from, and how far to trust it')
    .description(
      'Tell which frames supplied a pixel or region of a result, with depth, confidence, coverage and the focus curve.',
    )
    .argument('<result>', 'result folder of a merge')
    .argument('<region>', 'X,Y or X,Y,W,H in pixels of the composite, counted from 0 at the upper left')
    .helpOption('-h, --help', 'show this help')
    .option('--crops <FILE.png>', 'write a contact sheet: the region in the composite and the best frames')
    .option('--overwrite', 'replace an earlier contact sheet')
    .option('--frames-from <FOLDER>', 'where the frames lie now, if they moved since the merge')
    .option('--json', 'print one JSON object on stdout instead of words')
    .addHelpText('after', epilogue)
    .action((folder: string, region: string, flags: TraceFlags) => runTrace(system, folder, region, flags));
}

async function runTrace(system: System, folder: string, text: string, flags: TraceFlags): Promise<void> {
  if (flags.crops !== undefined && !/\.png$/i.test(flags.crops)) {
    const received = flags.crops === '' ? 'an empty text' : flags.crops;
    throw new UsageError(`Expected a file name ending in .png for --crops but received ${received}`);
  }
  const { traceRegion } = await import('../trace/trace.js');
  const { parsePictureRegion } = await import('../trace/picture-region.js');
  const { readRunRecord } = await import('../result/read-run-record.js');
  const { traceText } = await import('../trace/trace-text.js');
  const { folder: photographs } = await readRunRecord(folder);
  const region: PictureRegion = parsePictureRegion(text);
  const sheet = flags.crops === undefined ? undefined : await import('../trace/contact-sheet.js');
  const { crops = '', overwrite, framesFrom } = flags;
  // Before anything else is read.
  await sheet?.refuseUnfitSheet(crops, folder, photographs, { framesFrom, overwrite });
  await interruptible(
    system.signals,
    async (signal) => {
      const options = { framesFrom, signal };
      const onProgress = (done: number, frames: number) => showReading(system.stderr, done, frames);
      const report = await traceRegion(folder, region, { ...options, onProgress });
      for (const warning of report.warnings) system.stderr.write(`Warning: ${printable(warning)}\n`);
      if (sheet) {
        if (!report.focusCurve) {
          throw new InputError(`No frame can be read for --crops: ${report.warnings.join(' ')}`);
        }
        await sheet.writeContactSheet(crops, folder, report, { ...options, overwrite });
        if (flags.json !== true) system.stderr.write(`Contact sheet: ${printable(crops)}\n`);
      }
      const words = () => traceText(report, system.stdout.columns ?? 100);
      system.stdout.write(flags.json === true ? `${JSON.stringify(report)}\n` : words());
    },
    () => undefined,
  );
}
