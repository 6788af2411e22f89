import { join } from 'node:path';
import { readEntries } from './list-folder.js';
import type { Roots } from './roots.js';

/** The search ends after this time, and after so many folders: it serves somebody who waits. */
const searchMs = 4000;
const maxFolders = 30_000;
/** Folders that are found at most. */
const maxFound = 8;

/**
 * Looks below the roots for a folder that was dropped on the page, of which a browser gives the name and what lies in
 * it, but not where it is: the upper ones first, hidden ones not at all.
 *
 * @param name Of the folder.
 * @param names Of some files in it; all must be there.
 */
export async function findFolder(
  roots: Roots,
  name: string,
  names: readonly string[],
  signal: AbortSignal,
): Promise<string[]> {
  const until = performance.now() + searchMs;
  const found: string[] = [];
  const queue = roots.all.map(({ path }) => path);
  for (let i = 0; i < queue.length && i < maxFolders; i++) {
    if (signal.aborted || performance.now() > until || found.length === maxFound) break;
    const folder = queue[i];
    const entries = await readEntries(folder).catch(() => []);
    if (folder.endsWith(name) && join(folder, '..', name) === folder) {
      const inside = new Set(entries.map((entry) => entry.name));
      if (names.every((wanted) => inside.has(wanted))) found.push(folder);
    }
    for (const entry of entries) {
      // Links are not followed: they could go round.
      if (entry.isDirectory() && !entry.name.startsWith('.') && entry.name !== 'node_modules')
        queue.push(join(folder, entry.name));
    }
  }
  return found;
}
