import { join } from 'node:path';
import { writeAside } from './output-file.js';
import { checkRunRecord } from './read-run-record.js';
import { type RunRecord, runFileName } from './run-record.js';

/**
 * Writes run.json into an open result, last of all files: a folder that has it is complete.
 *
 * @throws OutputError when it cannot be written; an error when a later reader would refuse the record,
 *   for example because a number is NaN, which JSON cannot hold.
 */
export async function writeRunRecord(dir: string, record: RunRecord, signal?: AbortSignal): Promise<void> {
  const text = `${JSON.stringify(record, null, 2)}\n`;
  const path = join(dir, runFileName);
  checkRunRecord(JSON.parse(text), path);
  await writeAside(path, text, signal);
}
