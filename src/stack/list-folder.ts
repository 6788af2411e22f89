import { readdir, stat } from 'node:fs/promises';
import { resolve } from 'node:path';
import { InputError } from '../errors.js';
import { isEarlierResult } from './earlier-result.js';
import { errorCode, fileErrorReason } from './file-error.js';

/**
 * Names in a folder that may be frames, unordered: everything but hidden entries, subfolders and the `exclude`
 * paths (with what is in them). Throws InputError when the folder is missing, no folder, unreadable,
 * empty, or the result of an earlier merge.
 */
export async function listFolder(folder: string, exclude: readonly string[] = []): Promise<string[]> {
  await checkFolder(folder);
  const excluded = new Set(exclude.map((path) => resolve(path)));
  if (excluded.has(resolve(folder))) {
    throw new InputError(
      `"${folder}" is where the result goes: give another folder for the frames or the result.`,
    );
  }
  let entries: Awaited<ReturnType<typeof readEntries>>;
  try {
    entries = await readEntries(folder);
  } catch (error) {
    throw new InputError(`The folder "${folder}" cannot be read: ${fileErrorReason(error)}.`, {
      cause: error,
    });
  }
  const all = entries.map((entry) => entry.name);
  if (await isEarlierResult(folder, all)) {
    throw new InputError(
      `"${folder}" is the result folder of an earlier merge, not a folder of frames: give the folder of photographs.`,
    );
  }
  const names = entries
    .filter((entry) => !entry.isDirectory() && !entry.name.startsWith('.'))
    .map((entry) => entry.name)
    .filter((name) => !excluded.has(resolve(folder, name)));
  if (names.length === 0) {
    const hint = entries.some((entry) => entry.isDirectory())
      ? ' It has subfolders, which are not searched.'
      : '';
    throw new InputError(
      `The folder "${folder}" holds no files: give a folder of at least 2 photographs.${hint}`,
    );
  }
  return names;
}

function readEntries(folder: string) {
  return readdir(folder, { withFileTypes: true });
}

async function checkFolder(folder: string): Promise<void> {
  try {
    if ((await stat(folder)).isDirectory()) return;
  } catch (error) {
    const isMissing = errorCode(error) === 'ENOENT' && !folder.includes('\ufffd');
    const reason = isMissing ? 'it does not exist' : fileErrorReason(error);
    throw new InputError(`The folder "${folder}" cannot be read: ${reason}.`, { cause: error });
  }
  throw new InputError(`"${folder}" is a file: give the folder that holds the photographs.`);
}
