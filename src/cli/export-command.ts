import { Command } from 'commander';
import { type ExportOptions, exportOptionTable } from '../export/export-options.js';
import type { OptionTable } from '../options/option.js';
import { printable } from '../printable.js';
import { countOf } from '../stack/words.js';
import { jsonAnswer } from './common-options.js';
import { openReadingLine } from './frame-progress.js';
import { interruptible } from './interruptible.js';
import { addFlags, flagsOf, readFlags } from './option-flags.js';
import type { System } from './system.js';

const epilogue = `
What is exported goes into a folder of its own, which appears when it is complete; export.json in it lists all files.

Exit codes:
  0    done
  1    a defect of Lamella
  2    an option is wrong, or nothing was asked for
  3    the result or a frame cannot be read
  4    the export cannot be written
  5    the machine does not give what is needed: memory, threads, open files, a folder
  130  interrupted; nothing was written

Examples:
  lamella export bee-head-merged --layers
  lamella export bee-head-merged --aligned --min-share 1 --out retouch
  lamella export bee-head-merged --runs 10,3`;

interface OwnOptions {
  json: boolean;
}

const ownOptions: OptionTable<OwnOptions> = { json: jsonAnswer };

/** `lamella export RESULT`. */
export function exportCommand(system: System): Command {
  const command = new Command('export')
    .summary('aligned frames, layers, masks and depth, for editors and other programs')
    .description(
      'Write parts of a result for editors and other programs: frames aligned to the picture, layers with masks, composites of neighbouring frames, depth with its mapping.',
    )
    .argument('<result>', 'result folder of a merge')
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', epilogue);
  addFlags(command, exportOptionTable);
  return addFlags(command, ownOptions).action((folder: string, flags: Record<string, unknown>) =>
    runExport(system, folder, flagsOf(exportOptionTable, flags), readFlags(ownOptions, flags)),
  );
}

async function runExport(
  system: System,
  folder: string,
  options: Partial<ExportOptions>,
  { json }: OwnOptions,
): Promise<void> {
  const { exportResult } = await import('../export/export-result.js');
  await interruptible(
    system.signals,
    async (signal) => {
      const { onProgress, close } = openReadingLine(system.stderr);
      const { out, record } = await exportResult(folder, options, { signal, onProgress }).finally(close);
      if (json) {
        system.stdout.write(`${JSON.stringify({ out, ...record })}\n`);
        return;
      }
      for (const note of record.notes) system.stderr.write(`${printable(`Note: ${note}`)}\n`);
      const parts = [
        ...(record.frames.some(({ aligned }) => aligned)
          ? [countOf(record.frames.length, 'aligned frame')]
          : []),
        ...(record.frames.some(({ mask }) => mask) ? [countOf(record.frames.length, 'mask')] : []),
        ...(record.layers === undefined
          ? []
          : [`${countOf(record.frames.length + 1, 'layer')} in ${record.layers}`]),
        ...(record.runs ? [countOf(record.runs.length, 'part composite')] : []),
        ...(record.depth ? [`depth in ${record.depth.file}`] : []),
      ];
      system.stderr.write(`${printable(`${out}: ${parts.join(', ')}`)}\n`);
    },
    () => undefined,
  );
}
