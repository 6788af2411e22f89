import type { FoundFolders } from '../../protocol.js';
import { send } from '../api.js';
import { showFailure, showNotice } from '../notice.js';

/** Names of files by which a dropped folder is known again. */
const namesKept = 12;

/**
 * Takes folders that are dropped. Few browsers give the path: by its name and what lies in it the server looks for it.
 *
 * @param onFolder Called with the path.
 */
export function takeDrop(target: HTMLElement, signal: AbortSignal, onFolder: (path: string) => void): void {
  target.addEventListener(
    'dragover',
    (event) => {
      event.preventDefault();
      if (event.dataTransfer) event.dataTransfer.dropEffect = 'link';
      target.toggleAttribute('data-drop', true);
    },
    { signal },
  );
  const end = (): void => void target.toggleAttribute('data-drop', false);
  target.addEventListener('dragleave', (event) => event.relatedTarget === null && end(), { signal });
  signal.addEventListener('abort', end);
  target.addEventListener(
    'drop',
    (event) => {
      event.preventDefault();
      end();
      const path = givenPath(event.dataTransfer?.getData('text/uri-list') ?? '');
      if (path !== undefined) onFolder(path);
      else {
        const entry = event.dataTransfer?.items[0]?.webkitGetAsEntry();
        if (entry) void find(entry, signal, onFolder).catch(showFailure);
      }
    },
    { signal },
  );
}

/** The path that some browsers give as an address of a file. */
export function givenPath(uris: string): string | undefined {
  const uri = uris.split(/\r?\n/).find((line) => /^file:\/\//.test(line));
  if (uri === undefined) return undefined;
  const path = decodeURIComponent(new URL(uri).pathname);
  // A letter of a drive stands behind a slash there.
  return /^\/[A-Za-z]:\//.test(path) ? path.slice(1) : path;
}

async function find(
  entry: FileSystemEntry,
  signal: AbortSignal,
  onFolder: (path: string) => void,
): Promise<void> {
  if (!entry.isDirectory) {
    showNotice(`${entry.name} is a file: drop the folder that holds the photographs.`);
    return;
  }
  showNotice(`Looking for ${entry.name} …`);
  const names = await namesIn(entry as FileSystemDirectoryEntry);
  const { paths } = await send<FoundFolders>('api/places/find', { name: entry.name, names }, signal);
  if (paths.length > 0) onFolder(paths[0]);
  if (paths.length === 1) showNotice(`Found: ${paths[0]}`);
  else if (paths.length > 1) showNotice(`There are ${paths.length} folders like it; this is ${paths[0]}.`);
  else {
    showNotice(
      `The browser does not tell where ${entry.name} lies, and it was not found below the places listed here. Type its path into the field “Path of a folder”.`,
    );
    document.getElementById('path')?.focus();
  }
}

function namesIn(folder: FileSystemDirectoryEntry): Promise<string[]> {
  return new Promise((resolve) =>
    folder.createReader().readEntries(
      (entries) =>
        resolve(
          entries
            .filter(({ isFile }) => isFile)
            .slice(0, namesKept)
            .map(({ name }) => name),
        ),
      () => resolve([]),
    ),
  );
}
