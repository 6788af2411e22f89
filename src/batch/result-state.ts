import { stat } from 'node:fs/promises';
import { join } from 'node:path';
import sharp from 'sharp';
import { InputError } from '../errors.js';
import { readRunRecord } from '../result/read-run-record.js';
import type { RunRecord } from '../result/run-record.js';
import { errorCode, fileErrorReason, firstLine } from '../stack/file-error.js';
import { hashFile } from '../stack/hash-file.js';
import { hasPictureEnd } from '../stack/picture-end.js';
import type { ResultFacts } from './night-events.js';
import type { FinishedFile } from './stack-inputs.js';

// A file may be replaced under its name: what was decoded of it before must not stand for it.
sharp.cache(false);

/** Facts of a result that was just written, with the hash of each of its files. Throws InputError. */
export async function resultFacts(
  out: string,
  { startedAt }: RunRecord,
  names: readonly string[],
): Promise<ResultFacts> {
  const files: FinishedFile[] = [];
  for (const name of names) {
    const path = join(out, name);
    const { size, mtimeMs, ctimeMs } = await stat(path).catch((error: unknown) => {
      throw new InputError(`"${path}" cannot be read: ${fileErrorReason(error)}.`, { cause: error });
    });
    const sha256 = await hashFile(path);
    files.push({ name, sizeBytes: size, modifiedMs: mtimeMs, changedMs: ctimeMs, sha256 });
  }
  return { startedAt, files };
}

/** How a result stands: `fault` completes the sentence "it is merged again, because ...". */
export type ResultState =
  | { state: 'whole'; record: RunRecord }
  /** A result of another merge than the one whose facts are given. */
  | { state: 'foreign' }
  | { state: 'damaged'; fault: string };

/**
 * Whether the result in `out` is there and whole. Pictures that are as the merge left them, by size and time, are not
 * read; others may have been mended or retouched since, and count as long as they can be decoded to their end.
 */
export async function stateOfResult(out: string, facts: ResultFacts | undefined): Promise<ResultState> {
  const record = await recordIn(out);
  if (typeof record === 'string') return { state: 'damaged', fault: record };
  if (facts && record.startedAt !== facts.startedAt) return { state: 'foreign' };
  for (const name of pictureFiles(record)) {
    const known = facts?.files.find((file) => file.name === name);
    const fault = await pictureFault(join(out, name), known);
    if (fault !== undefined) return { state: 'damaged', fault };
  }
  return { state: 'whole', record };
}

/** The record of a result, or why it cannot be had. */
export async function recordIn(out: string): Promise<RunRecord | string> {
  try {
    return await readRunRecord(out);
  } catch (error) {
    if (!(error instanceof InputError)) throw error;
    const isThere = (await stat(out).catch(() => undefined))?.isDirectory();
    return isThere ? `${join(out, 'run.json')} is missing or damaged` : `${out} does not exist`;
  }
}

/** Whether a file has the bytes that it had: it is read only where its time differs. */
export async function isUnchanged(path: string, known: FinishedFile): Promise<boolean> {
  const entry = await stat(path).catch(() => undefined);
  if (!entry?.isFile() || entry.size !== known.sizeBytes) return false;
  return entry.mtimeMs === known.modifiedMs || (await hashFile(path).catch(() => null)) === known.sha256;
}

function pictureFiles({ composite, maps }: RunRecord): string[] {
  const { depth, depthPng, sources, confidence, coverage } = maps;
  return [composite, depth, depthPng, sources, confidence, coverage].map(({ file }) => file);
}

async function pictureFault(path: string, known: FinishedFile | undefined): Promise<string | undefined> {
  try {
    if (!(await stat(path)).isFile()) return `${path} is no file`;
    if (known && (await isUnchanged(path, known))) return undefined;
    // Decodes all of it, strip by strip, and keeps nothing.
    await sharp(path, { limitInputPixels: false, failOn: 'truncated' }).stats();
    return (await hasPictureEnd(path))
      ? undefined
      : `${path} is cut short or damaged (the end of the file is gone)`;
  } catch (error) {
    if (errorCode(error) === 'ENOENT') return `${path} is missing`;
    return `${path} is cut short or damaged (${firstLine(error)})`;
  }
}
