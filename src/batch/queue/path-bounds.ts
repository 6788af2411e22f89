import { lstat, readdir, realpath, stat } from 'node:fs/promises';
import { basename, dirname, join, relative, resolve, sep } from 'node:path';
import { UsageError } from '../../errors.js';
import { errorCode, fileErrorReason } from '../../stack/file-error.js';
import type { StackJob } from '../stack-job.js';

/** The folders below which a worker may read and write, with links resolved. Throws UsageError. */
export async function resolveBounds(folders: readonly string[]): Promise<string[]> {
  if (folders.length === 0) {
    throw new UsageError(
      'Expected a folder for --below but received none: a worker reads photographs and writes results only below the folders that it is given.',
    );
  }
  return Promise.all(
    folders.map(async (folder) => {
      if (folder === '') {
        throw new UsageError('Expected the path of a folder for --below but received an empty text');
      }
      const entry = await stat(folder).catch((error: unknown) => error);
      if (entry instanceof Error) {
        throw new UsageError(
          `Expected a folder that is there for --below but received ${folder}: ${fileErrorReason(entry)}`,
        );
      }
      if (!(await stat(folder)).isDirectory()) {
        throw new UsageError(`Expected a folder for --below but received ${folder}, which is a file`);
      }
      return realpath(folder);
    }),
  );
}

/**
 * Why a job would read or write outside of `bounds`, as a clause; undefined when it would not. Links are followed to
 * where they lead: those of the paths, and those that lie among the photographs.
 */
export async function boundsFault(
  { folder, out }: Pick<StackJob, 'folder' | 'out'>,
  bounds: readonly string[],
): Promise<string | undefined> {
  const below = `below ${bounds.join(' or ')}, where this worker may work`;
  for (const path of [folder, dirname(out)]) {
    const real = await realpathOfExisting(path);
    if (!isBelow(real, bounds)) return `${path} does not lie ${below}`;
  }
  const place = await lstat(out).catch(() => undefined);
  if (place?.isSymbolicLink()) return `${out} is a link, where a result has a folder of its own`;
  const entries = await readdir(folder, { withFileTypes: true }).catch(() => []);
  for (const entry of entries) {
    if (!entry.isSymbolicLink()) continue;
    const path = join(folder, entry.name);
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
  if (path === undefined) return false;
  return folders.some((folder) => {
    const way = relative(folder, path);
    return way === '' || (way !== '..' && !way.startsWith(`..${sep}`) && resolve(folder, way) === path);
  });
}
