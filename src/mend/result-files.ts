import { constants } from 'node:fs';
import { copyFile, link, lstat, mkdir, readdir, readlink, stat, symlink } from 'node:fs/promises';
import { join } from 'node:path';
import { InputError } from '../errors.js';
import { reportFileName } from '../result/report/write-report.js';
import { type RunRecord, runFileName } from '../result/run-record.js';
import { mendsFileName } from './mends-file.js';

/** Subfolder of a mended result that keeps the files of the merge as they were. */
export const unmendedFolder = 'unmended';

/** Files that a mend replaces. */
export function mendedFiles(record: RunRecord): string[] {
  const { composite, maps } = record;
  return [
    composite.file,
    maps.depth.file,
    maps.depthPng.file,
    maps.sources.file,
    maps.confidence.file,
    maps.coverage.file,
    runFileName,
    reportFileName,
  ];
}

/** The folder with the files of the merge itself: the result, or its `unmended` once it was mended. */
export async function mergedFolder(folder: string): Promise<string> {
  const aside = join(folder, unmendedFolder);
  const found = await stat(join(aside, runFileName)).catch(() => undefined);
  return found?.isFile() ? aside : folder;
}

/** Changes whenever a file below a result is written, added or removed: their paths, sizes and times. */
export async function contentsMark(folder: string): Promise<string> {
  const names = await readdir(folder, { recursive: true });
  const lines = await Promise.all(
    names.map(async (name) => {
      const { size, mtimeNs } = await lstat(join(folder, name), { bigint: true });
      return `${name} ${size} ${mtimeNs}`;
    }),
  );
  return lines.sort().join('\n');
}

/** Carries everything else of a result (the user's own files too) over into its successor. */
export async function carryOver(from: string, to: string, record: RunRecord): Promise<void> {
  const replaced = new Set([...mendedFiles(record), mendsFileName, unmendedFolder]);
  for (const name of await readdir(from)) {
    if (!replaced.has(name)) await carry(join(from, name), join(to, name));
  }
}

/** The files of the merge, as they are, into another folder; a report that was removed stays away. */
export async function carryMerged(from: string, to: string, record: RunRecord): Promise<void> {
  for (const name of mendedFiles(record)) {
    const found = await stat(join(from, name)).catch(() => undefined);
    if (found) await carry(join(from, name), join(to, name));
  }
}

/** A second name for the same bytes where the file system has such, else a copy. */
async function carry(from: string, to: string): Promise<void> {
  const entry = await lstat(from);
  if (entry.isDirectory()) {
    await mkdir(to);
    for (const name of await readdir(from)) await carry(join(from, name), join(to, name));
  } else if (entry.isSymbolicLink()) {
    await symlink(await readlink(from), to);
  } else if (entry.isFile()) {
    await link(from, to).catch(() => copyFile(from, to, constants.COPYFILE_FICLONE));
  } else {
    throw new InputError(
      `${from} is neither a file nor a folder nor a link, and cannot be carried over. Move it out of the result and run again.`,
    );
  }
}
