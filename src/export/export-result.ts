import { writeFile } from 'node:fs/promises';
import { join, resolve } from 'node:path';
import sharp from 'sharp';
import { named, UsageError } from '../errors.js';
import { validateOptions, withDefaults } from '../options/validate-options.js';
import { asOutputError, outputElsewhere, throwIfStopped } from '../result/output-failure.js';
import { type Result, readResult } from '../result/read-result.js';
import { programVersion } from '../version.js';
import { openExportFolder } from './export-folder.js';
import { type ExportOptions, exportOptionTable, exportParts } from './export-options.js';
import { type ExportRecord, exportFileName, exportSchemaName, exportSchemaVersion } from './export-record.js';
import type { FileContext } from './write-frames.js';
import { writeParts } from './write-parts.js';

/** How a caller follows an export and stops it. */
export interface ExportHooks {
  /** Told after each frame, and each run, that was written. */
  onProgress?: ((done: number, all: number) => void) | undefined;
  signal?: AbortSignal | undefined;
}

/** What an export wrote. */
export interface ExportOutcome {
  /** Absolute path of the folder. */
  out: string;
  /** What export.json holds. */
  record: ExportRecord;
}

/**
 * Writes parts of a result for other programs into a folder of its own: aligned frames, layers, masks, composites of neighbouring
 * frames, depth. A mended result is exported as it is mended. Frames are read one at a time, so memory follows the
 * pixels of one frame. The folder appears when it is complete.
 *
 * @throws UsageError when no part is asked for or an option is wrong; InputError when the result or a frame cannot be read;
 *   OutputError when the folder is unfit or cannot be written; InterruptedError when stopped. Then nothing is left behind.
 */
export async function exportResult(
  folder: string,
  given: Partial<ExportOptions>,
  hooks: ExportHooks = {},
): Promise<ExportOutcome> {
  const options = withDefaults(exportOptionTable, validateOptions(exportOptionTable, given));
  if (!exportParts.some((part) => options[part])) {
    throw new UsageError(
      `Expected one at least of ${exportParts.map(named).join(', ')} but received none: say what to export.`,
    );
  }
  const result = await readResult(folder);
  const { record } = result;
  const opened = await openExportFolder(options.out ?? `${resolve(folder)}-export`, {
    inputs: [folder, record.folder, options.framesFrom],
    overwrite: options.overwrite,
  });
  try {
    const context: FileContext = {
      dir: opened.dir,
      icc: await profileOf(result),
      software: `Lamella ${programVersion()}`,
      signal: hooks.signal,
    };
    const written = await writeParts(result, options, context, hooks.onProgress);
    const exported: ExportRecord = {
      schema: exportSchemaName,
      version: exportSchemaVersion,
      programVersion: programVersion(),
      result: resolve(folder),
      mergedAt: record.startedAt,
      size: record.size,
      bits: record.bits,
      channels: record.channels,
      minSharePercent: options.minSharePercent,
      ...written,
    };
    await writeFile(join(opened.dir, exportFileName), `${JSON.stringify(exported, null, 2)}\n`).catch(
      (error) => {
        throw asOutputError(error, join(opened.dir, exportFileName));
      },
    );
    throwIfStopped(hooks.signal);
    await opened.commit();
    return { out: opened.out, record: exported };
  } catch (error) {
    await opened.discard();
    throwIfStopped(hooks.signal);
    // By the name that it was to have.
    throw outputElsewhere(error, { aside: opened.dir, path: opened.out, option: 'out' });
  }
}

async function profileOf({ folder, record }: Result): Promise<Buffer | undefined> {
  if (!record.composite.hasIcc) return undefined;
  const { icc } = await sharp(join(folder, record.composite.file), { limitInputPixels: false }).metadata();
  return icc;
}
