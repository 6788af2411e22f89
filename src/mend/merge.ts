import { mergeFolder } from '../merge/merge.js';
import type { MergeHooks, MergeOutcome } from '../merge/merge-api.js';
import type { MergeOptions } from '../options/merge-options.js';
import { carryMends } from './carry-mends.js';

/**
 * Merges the photographs of a folder into a result folder; the guide page `result` lists its files.
 *
 * @param folder Folder of the frames, which is only read: two photographs at least, all of one size in pixels.
 * @param given `out`: the result folder, by default the folder's name + `-merged` (of a preview `-preview`) beside it. The rest: see
 *   MergeOptions.
 * @param hooks Progress, and an AbortSignal: when it fires the merge rejects with InterruptedError and leaves
 *   nothing behind.
 * @returns When the result folder is complete. It holds the composite of shape (rows, cols, channels) and maps of shape
 *   (rows, cols).
 * @throws UsageError when an option is wrong; InputError when the frames cannot be read, do not form a stack, have nothing
 *   in common, show no detail, or need more memory than is allowed; OutputError when the result cannot be written or
 *   `out` is taken; InterruptedError. Then nothing of a result is left behind.
 */
export function merge(
  folder: string,
  given: Partial<MergeOptions> & { out?: string } = {},
  hooks: MergeHooks = {},
): Promise<MergeOutcome> {
  return mergeFolder(folder, given, hooks, carryMends);
}
