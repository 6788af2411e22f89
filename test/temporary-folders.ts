import { rmSync } from 'node:fs';

/** Folders to be removed, by what ends their use. Hooks of `remove-folders.ts` do it, in every test file. */
const folders = { test: [] as string[], file: [] as string[] };

/** Has a folder removed after the test, or the file of tests, that is running. */
export function removeAfter(end: keyof typeof folders, folder: string): void {
  folders[end].push(folder);
}

export function removeFolders(end: keyof typeof folders): void {
  for (const folder of folders[end].splice(0)) rmSync(folder, { recursive: true, force: true });
}
