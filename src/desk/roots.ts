import { readdir, realpath } from 'node:fs/promises';
import { homedir, userInfo } from 'node:os';
import { basename, dirname, isAbsolute, join, resolve } from 'node:path';
import { InputError } from '../errors.js';
import { isWithin } from '../result/path-within.js';
import { resultFolderName } from '../result/result-folder-name.js';
import { fileErrorReason } from '../stack/file-error.js';

/** A folder below which everything is shown. */
export interface Root {
  /** As people call it. */
  name: string;
  /** Absolute, without links. */
  path: string;
  /** Allowed, but not listed among the places. */
  isHidden?: boolean;
}

/** The folders that the desk may show. A path that leads out of them, by a link too, is refused. */
export class Roots {
  private constructor(readonly all: readonly Root[]) {}

  /**
   * @param given Folders to show; none: home and mounted media.
   * @throws InputError when a given folder cannot be read.
   */
  static async open(given: readonly string[], more: readonly Root[] = []): Promise<Roots> {
    const roots: Root[] = [];
    for (const path of given) {
      const real = await realpath(resolve(path)).catch((error: unknown) => {
        throw new InputError(`The folder "${path}" cannot be shown: ${fileErrorReason(error)}.`, {
          cause: error,
        });
      });
      roots.push({ name: basename(real) || real, path: real });
    }
    if (given.length === 0) roots.push(...(await standardRoots()));
    return new Roots([...roots, ...more]);
  }

  /**
   * The true path of a folder or file that may be shown.
   *
   * @throws InputError for a path outside of the roots, whether or not something is there, and for one that is not there.
   */
  async within(path: string): Promise<string> {
    if (!isAbsolute(path) || path.includes('\0') || !this.contains(resolve(path))) throw outside(path);
    let real: string;
    try {
      real = await realpath(path);
    } catch (error) {
      throw new InputError(`"${path}" cannot be read: ${fileErrorReason(error)}.`, { cause: error });
    }
    if (!this.contains(real)) throw outside(path);
    return real;
  }

  /** Whether a path lies below a root, or is a result beside one, by its text alone. */
  contains(path: string): boolean {
    return this.all.some(({ path: root }) => {
      const beside = [undefined, 1].map((preview) => resultFolderName(root, preview));
      return [root, ...beside].some((folder) => isWithin(path, folder));
    });
  }
}

/** A path without links; its last folders need not be there yet. */
export async function withoutLinks(path: string): Promise<string> {
  const parent = dirname(path);
  return realpath(path).catch(async () =>
    parent === path ? path : join(await withoutLinks(parent), basename(path)),
  );
}

function outside(path: string): InputError {
  return new InputError(
    `"${path}" lies outside of the folders that are shown here: start Lamella with that folder to see it.`,
  );
}

/** Home, and what is mounted for this user: cards, disks, shares. */
async function standardRoots(): Promise<Root[]> {
  const roots: Root[] = [];
  const add = async (name: string, path: string): Promise<void> => {
    const real = await realpath(path).catch(() => undefined);
    if (real !== undefined && !roots.some((root) => root.path === real)) roots.push({ name, path: real });
  };
  await add('Home', homedir());
  for (const folder of mediaFolders()) {
    const entries = await readdir(folder, { withFileTypes: true }).catch(() => []);
    for (const entry of entries) {
      if (entry.isDirectory() && !entry.name.startsWith('.')) await add(entry.name, join(folder, entry.name));
    }
  }
  if (process.platform === 'win32') {
    for (const letter of 'DEFGHIJKLMNOPQRSTUVWXYZ') await add(`${letter}:`, `${letter}:\\`);
  }
  return roots;
}

function mediaFolders(): string[] {
  if (process.platform === 'darwin') return ['/Volumes'];
  if (process.platform === 'win32') return [];
  const { username } = userInfo();
  return [`/media/${username}`, `/run/media/${username}`, '/mnt'];
}
