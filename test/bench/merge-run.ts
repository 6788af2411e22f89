import { fileURLToPath } from 'node:url';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { type ProcessUse, runWatched } from './watched-process.js';

const lamella = fileURLToPath(new URL('../../bin/lamella.js', import.meta.url));

/** What one merge took. */
export interface MergeRun extends ProcessUse {
  stagesMs: Record<string, number>;
}

/** Merges a folder by the built program in a process of its own. Throws with its words when it fails. */
export async function runMerge(
  folder: string,
  out: string,
  rule: string,
  extra: readonly string[] = [],
): Promise<MergeRun> {
  // Whole frames, so that times of one size compare.
  const args = ['merge', folder, '--out', out, '--overwrite', '--rule', rule, '--crop', 'anchor', '--quiet'];
  const use = await runWatched(process.execPath, [lamella, ...args, ...extra]);
  const { stagesMs } = await readRunRecord(out);
  return { ...use, stagesMs };
}
