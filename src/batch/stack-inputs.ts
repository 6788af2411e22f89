import { accessSync, constants, existsSync, readdirSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { errorCode, fileErrorReason } from '../stack/file-error.js';
import { hashFile } from '../stack/hash-file.js';

/** One file of a stack as it was found. */
export interface InputFile {
  name: string;
  sizeBytes: number;
  /** Time of the last change of the content, ms since 1970; programs can set it. */
  modifiedMs: number;
  /** Time of the last change of content or facts, ms since 1970; only the file system sets it. */
  changedMs: number;
}

/** A file that went into a finished result. */
export interface FinishedFile extends InputFile {
  /** SHA-256 of its bytes; null for one that could not be used as a frame. */
  sha256: string | null;
}

/**
 * Names of the files whose content may differ from when they were found, or that are gone. At once, so that
 * nothing can happen between the answer and what is done about it.
 */
export function changedInputs(folder: string, found: readonly InputFile[]): string[] {
  const changed = found.filter((file) => {
    try {
      const { size, mtimeMs, ctimeMs } = statSync(join(folder, file.name));
      return size !== file.sizeBytes || mtimeMs !== file.modifiedMs || ctimeMs !== file.changedMs;
    } catch {
      return true;
    }
  });
  return changed.map(({ name }) => name);
}

/** Why none of the photographs of a stack can be read, as a clause; undefined when they can, changed or not. */
export function unseenInputs(folder: string, found: readonly InputFile[]): string | undefined {
  try {
    readdirSync(folder);
  } catch (error) {
    return `${folder} cannot be read: ${fileErrorReason(error)}`;
  }
  if (found.length > 0 && found.every(({ name }) => !existsSync(join(folder, name)))) {
    return `none of the ${found.length} files of the stack is in ${folder}`;
  }
  for (const { name } of found) {
    try {
      accessSync(join(folder, name), constants.R_OK);
    } catch (error) {
      if (errorCode(error) === 'EACCES') return `permission to read ${join(folder, name)} is denied`;
    }
  }
  return undefined;
}

/**
 * True when the files are those of a finished result: names, sizes, times and content. Content is read
 * only where the file system says that something about the file changed: a program that puts another
 * content under the old size and time cannot turn back `changedMs`.
 */
export async function sameInputs(
  folder: string,
  found: readonly InputFile[],
  finished: readonly FinishedFile[],
): Promise<boolean> {
  if (found.length !== finished.length) return false;
  const before = new Map(finished.map((file) => [file.name, file]));
  const unsure: FinishedFile[] = [];
  for (const file of found) {
    const old = before.get(file.name);
    if (!old || old.sizeBytes !== file.sizeBytes || old.modifiedMs !== file.modifiedMs) return false;
    if (old.changedMs !== file.changedMs) unsure.push(old);
  }
  for (const { name, sha256 } of unsure) {
    if (sha256 === null || (await hashFile(join(folder, name)).catch(() => null)) !== sha256) return false;
  }
  return true;
}
