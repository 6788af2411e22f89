import { lstat, mkdir, readdir, realpath, rm } from 'node:fs/promises';
import { basename, dirname, resolve } from 'node:path';
import { named, OutputError } from '../errors.js';
import { asOutputError } from '../result/output-failure.js';
import { refuseUnfitPlace } from '../result/output-target.js';
import { isWithin } from '../result/path-within.js';
import { renameIntoPlace } from '../result/result-folder.js';
import { syncFolder, tidyUnfinished, unfinishedPath } from '../result/unfinished.js';
import { isExportFolder } from './export-record.js';

export interface ExportFolderOptions {
  /** Folders that are read: nothing is written below them. */
  inputs: readonly (string | undefined)[];
  overwrite: boolean;
}

/** An export on its way: everything is written into `dir`; `out` shows the earlier one, or none, until `commit`. */
export interface ExportFolder {
  readonly dir: string;
  readonly out: string;
  /** Renames the finished folder to its final path. */
  commit(): Promise<void>;
  /** Removes everything written; after `commit` it does nothing. */
  discard(): Promise<void>;
}

/**
 * Prepares the folder of an export before the long work begins. Leftovers of killed runs beside it are tidied up.
 *
 * @throws OutputError when it lies in a result or among photographs, holds anything but an earlier export that may be
 *   replaced, or cannot be written.
 */
export async function openExportFolder(out: string, options: ExportFolderOptions): Promise<ExportFolder> {
  const given = resolve(out);
  const target = await realpath(given).catch(() => given);
  await tidyUnfinished(dirname(target), basename(target));
  await refuseUnfitFolder(target, options);
  const dir = unfinishedPath(target, 'partial');
  try {
    await mkdir(dir);
  } catch (error) {
    throw asOutputError(error, out);
  }
  let isOpen = true;
  return {
    dir,
    out: target,
    async commit() {
      try {
        await syncFolder(dir);
        await refuseUnfitFolder(target, options);
        await renameIntoPlace(dir, target);
      } catch (error) {
        throw asOutputError(error, out);
      }
      isOpen = false;
    },
    async discard() {
      // A file that cannot be removed now is tidied up by the next run.
      if (isOpen) await rm(dir, { recursive: true, force: true, maxRetries: 2 }).catch(() => undefined);
      isOpen = false;
    },
  };
}

async function refuseUnfitFolder(out: string, { inputs, overwrite }: ExportFolderOptions): Promise<void> {
  await refuseUnfitPlace({ path: out, option: 'out', inputs });
  for (const input of inputs) {
    if (input === undefined) continue;
    const folder = await realpath(input).catch(() => resolve(input));
    if (isWithin(folder, out)) {
      throw new OutputError(
        `${input} lies inside ${out}, which is replaced as a whole. Choose another place with ${named('out')}.`,
      );
    }
  }
  const found = await lstat(out).catch(() => undefined);
  if (!found) return;
  if (!found.isDirectory()) {
    throw new OutputError(`${out} is no folder. Choose another place with ${named('out')}.`);
  }
  if ((await readdir(out)).length === 0) return;
  if (!(await isExportFolder(out))) {
    throw new OutputError(
      `${out} is not empty and is no export of Lamella, so it is left alone, with or without ${named('overwrite')}. Choose another place with ${named('out')}.`,
    );
  }
  if (!overwrite) {
    throw new OutputError(
      `${out} already holds an export. Add ${named('overwrite')} to replace it, or choose another place with ${named('out')}.`,
    );
  }
}
