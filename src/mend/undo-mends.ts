import { InputError } from '../errors.js';
import { readRunRecord } from '../result/read-run-record.js';
import { applyMends } from './apply-mends.js';
import { readMends } from './mends-file.js';
import { mergedFolder } from './result-files.js';

/**
 * Takes all mends out of the picture: the files of the merge return as they were, byte for byte. The mends stay on
 * the list as they are, so that they can be applied again.
 *
 * @throws InputError when the result was never mended; see `applyMends` for the rest.
 */
export async function undoMends(folder: string): Promise<void> {
  const { size } = await readRunRecord(folder);
  if ((await mergedFolder(folder)) === folder) {
    throw new InputError(`${folder} is not mended: there is nothing to undo.`);
  }
  await applyMends(folder, await readMends(folder, size), { apply: 'none' });
}
