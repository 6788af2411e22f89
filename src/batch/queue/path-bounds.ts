import { lstat, readdir, realpath, stat } from 'node:fs/promises';
import { basename, dirname, isAbsolute, join } from 'node:path';
import { optionError } from '../../option-error.js';
import { optionName } from '../../option-names.js';
import { isWithin } from '../../result/path-within.js';
import { errorCode, fileErrorReason } from '../../stack/file-error.js';
import type { StackJob } from '../stack-job.js';

/** The folders below which a worker may read and write, with links resolved. Throws UsageError. */
export async function resolveBounds(folders: readonly string[]): Promise<string[]> {
  if (folders.length === 0) {
    const why = 'a worker reads photographs and writes results only below the folders that it is given';
    throw optionError('below', 'a folder', undefined, { shown: 'none', why });
  }
  return Promise.all(
    folders.map(async (folder) => {
      const refuse = (why?: string) =>
        optionError('below', 'the path of a folder', folder, why ? { why } : {});
      if (folder === '') throw refuse();
      const entry = await stat(folder).catch((error: unknown) => {
        throw refuse(fileErrorReason(error));
      });
      if (!entry.isDirectory()) throw refuse('it is a file');
      return realpath(folder);
    }),
  );
}

/**
 * Why a job would read or write outside of `bounds`, as a clause; undefined when it would not. Links are followed to
 * where they lead: those of the paths, and those that lie among the photographs.
 */
export async function boundsFault(
  { folder, out, options }: Pick<StackJob, 'folder' | 'out' | 'options'>,
  bounds: readonly string[],
): Promise<string | undefined> {
  const below = `below ${bounds.join(' or ')}, where this worker may work`;
  // What is no path of its own would be taken from where this worker was started.
  const scratch: unknown = options.scratch ?? out;
  if (typeof scratch !== 'string' || !isAbsolute(scratch)) {
    return `${optionName('scratch')} is no absolute path`;
  }
  for (const path of [folder, dirname(out), scratch === out ? dirname(out) : scratch]) {
    const real = await realpathOfExisting(path);
    if (!isBelow(real, bounds)) return `${path} does not lie ${below}`;
  }
  const entry = await lstat(out).catch(() => undefined);
  if (entry?.isSymbolicLink()) return `${out} is a link, where a result has a folder of its own`;
  const entries = await readdir(folder, { withFileTypes: true }).catch(() => []);
  for (const entry of entries) {
    if (!entry.isSymbolicLink()) continue;
    const path = join(folder, entry.name);
    // Folders among the photographs are not looked into.
    if ((await stat(path).catch(() => undefined))?.isDirectory()) continue;
    if (!isBelow(await realpathOfExisting(path), bounds))
      return `${path} is a link to what does not lie ${below}`;
  }
  return undefined;
}

/** The real path of as much of a path as can be followed, with the rest behind it; undefined for a broken link. */
async function realpathOfExisting(path: string): Promise<string | undefined> {
  try {
    return await realpath(path);
  } catch (error) {
    const parent = dirname(path);
    // What leads nowhere now may lead anywhere later.
    const isLink = (await lstat(path).catch(() => undefined))?.isSymbolicLink();
    if (isLink || parent === path || !['ENOENT', 'ENOTDIR', 'EACCES'].includes(errorCode(error))) {
      return undefined;
    }
    const real = await realpathOfExisting(parent);
    return real === undefined ? undefined : join(real, basename(path));
  }
}

function isBelow(path: string | undefined, folders: readonly string[]): boolean {
  return path !== undefined && folders.some((folder) => isWithin(path, folder));
}
