import { createHash } from 'node:crypto';
import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { mendsFileName } from '../mend/mends-file.js';
import { unmendedFolder } from '../mend/result-files.js';
import { runFileName } from '../result/run-record.js';
import { maxRunBytes } from '../stack/earlier-result.js';
import { errorCode } from '../stack/file-error.js';
import { readBoundedText } from '../stack/regular-file.js';

/** Distinguishes states of a result. */
export interface ResultMark {
  /** Of the merge: the same for whatever was mended in it. */
  merge: string;
  /** Of the record and the list of mends. */
  state: string;
}

/** A result that is replaced as a whole is away for milliseconds. */
const usualTries = 60;
const tryAgainMs = 50;

/**
 * The mark of a result at one moment, although another process may replace it at any time: read until two readings one
 * after the other agree.
 *
 * @param tries How often it is looked for, 50 ms apart.
 * @returns Undefined when there is no such result, and it does not come back.
 */
export async function readResultMark(folder: string, tries = usualTries): Promise<ResultMark | undefined> {
  let before = await markNow(folder);
  for (let left = tries; left > 0; left--) {
    const again = await markNow(folder);
    if (before && again && before.merge === again.merge && before.state === again.state) return again;
    before = again;
    if (!again) await pause(tryAgainMs);
  }
  return undefined;
}

/** How often a result is read anew that is replaced while it is read. */
const readings = 5;
const readAgainMs = 100;

/**
 * Reads a result as it is at one moment: does `work` again when the result was replaced while it was at it.
 *
 * @throws What `work` throws of a result that stays as it is.
 */
export async function readSettled<T>(folder: string, work: (mark: ResultMark) => Promise<T>): Promise<T> {
  for (let left = readings; ; left--) {
    // A folder that is no result is refused at once.
    const mark = (await readResultMark(folder, 1)) ?? { merge: '', state: '' };
    try {
      return await work(mark);
    } catch (error) {
      const now = await readResultMark(folder, 3);
      if (left <= 1 || mark.state === (now?.state ?? '')) throw error;
      await pause(readAgainMs);
    }
  }
}

async function markNow(folder: string): Promise<ResultMark | undefined> {
  const run = await hashOf(join(folder, runFileName));
  if (run === undefined) return undefined;
  const mends = await hashOf(join(folder, mendsFileName));
  const unmended = await hashOf(join(folder, unmendedFolder, runFileName));
  return { merge: unmended ?? run, state: `${run} ${mends}` };
}

/** Undefined for a file that is not there. */
async function hashOf(path: string): Promise<string | undefined> {
  try {
    return createHash('sha256')
      .update(await readBoundedText(path, maxRunBytes))
      .digest('hex');
  } catch (error) {
    return ['ENOENT', 'ENOTDIR'].includes(errorCode(error)) ? undefined : 'unreadable';
  }
}
