import type { Dirent } from 'node:fs';
import { readdir } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import { nightListName } from '../batch/night-events.js';
import { InputError } from '../errors.js';
import { runFileName } from '../result/run-record.js';
import { fileErrorReason } from '../stack/file-error.js';
import { hasPictureEnding, hasRawEnding, isLeftover } from '../stack/file-kind.js';
import { mapLimited } from '../stack/map-limited.js';
import { compareNames } from '../stack/natural-order.js';
import { minStackFrames } from '../stack/photograph-folder.js';
import { stemOf } from '../stack/words.js';
import type { FolderEntry, FolderKind, FolderView, PlaceRoot } from './protocol.js';
import type { Roots } from './roots.js';
import { stackTitle } from './sample.js';

/** Folders of a folder that are listed at most: more than anybody reads through. */
const maxEntries = 600;
const foldersAtOnce = 8;

/**
 * A folder with the folders in it, each with what it is by the names of its files alone. Hidden folders are not shown.
 *
 * @throws InputError when it lies outside of the roots or cannot be read.
 */
export async function listPlace(roots: Roots, path: string): Promise<FolderView> {
  const folder = await roots.within(path);
  const names = await readEntries(folder).catch((error: unknown) => {
    throw new InputError(`The folder "${folder}" cannot be read: ${fileErrorReason(error)}.`, {
      cause: error,
    });
  });
  const folders = foldersIn(names);
  const entries = await mapLimited(folders.slice(0, maxEntries), foldersAtOnce, async (name) => {
    const inner = join(folder, name);
    return describe(inner, await readEntries(inner).catch(() => []));
  });
  return {
    ...describe(folder, names),
    trail: trailOf(roots, folder),
    entries,
    more: Math.max(0, folders.length - maxEntries),
  };
}

/** Names of photographs among the entries of a folder, in natural order, by their endings. */
export function photographNames(entries: readonly Dirent[]): string[] {
  return entries
    .filter((entry) => !entry.isDirectory() && !entry.name.startsWith('.') && !isLeftover(entry.name))
    .map(({ name }) => name)
    .filter((name) => hasPictureEnding(name) || hasRawEnding(name))
    .sort(compareNames);
}

/** How many photographs the names stand for: a raw file and the camera's JPEG of it are one. */
export function countPhotographs(names: readonly string[]): number {
  const raws = new Set(names.filter(hasRawEnding).map(stemOf));
  return raws.size + names.filter((name) => !hasRawEnding(name) && !raws.has(stemOf(name))).length;
}

export function readEntries(folder: string): Promise<Dirent[]> {
  return readdir(folder, { withFileTypes: true });
}

function describe(path: string, entries: readonly Dirent[]): FolderEntry {
  const photographs = countPhotographs(photographNames(entries));
  const names = new Set(entries.map(({ name }) => name));
  const kind: FolderKind = names.has(runFileName)
    ? 'result'
    : names.has(nightListName)
      ? 'batch'
      : photographs >= minStackFrames
        ? 'stack'
        : 'folder';
  return { name: stackTitle(path) || path, path, kind, photographs, folders: foldersIn(entries).length };
}

function foldersIn(entries: readonly Dirent[]): string[] {
  return entries
    .filter((entry) => (entry.isDirectory() || entry.isSymbolicLink()) && !entry.name.startsWith('.'))
    .filter((entry) => entry.isDirectory() || !/\.[A-Za-z0-9]{1,5}$/.test(entry.name))
    .map(({ name }) => name)
    .sort(compareNames);
}

function trailOf(roots: Roots, folder: string): PlaceRoot[] {
  const root = roots.all.findLast(({ path }) => folder === path || folder.startsWith(join(path, '/')));
  const trail: PlaceRoot[] = [];
  let path = folder;
  while (root && path !== root.path) {
    trail.unshift({ name: basename(path), path });
    path = dirname(path);
  }
  return root ? [{ name: root.name, path: root.path }, ...trail] : [{ name: basename(folder), path: folder }];
}
