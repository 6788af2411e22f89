import { InputError } from '../errors.js';
import { type ApplyOptions, type ApplyOutcome, editMends } from './apply-mends.js';
import type { MendedRecord } from './mended-record.js';
import { mergedFolder } from './result-files.js';

/**
 * Takes all mends out of the picture: the files of the merge return as they were, byte for byte. The mends stay on
 * the list as they are, so that they can be applied again.
 *
 * @throws InputError when the result was never mended, or a file of the merge is missing or has changed since it was
 *   put aside: then nothing is changed; see `editMends` for the rest.
 */
export function undoMends(
  folder: string,
  options: Pick<ApplyOptions, 'signal' | 'onWait'> = {},
): Promise<ApplyOutcome> {
  return editMends(
    folder,
    async (recorded, record) => {
      // Mended, but without the files of the merge: `editMends` names what is missing.
      const isMended = (record as MendedRecord).mends !== undefined;
      if (!isMended && (await mergedFolder(folder)) === folder) {
        throw new InputError(`${folder} is not mended: there is nothing to undo.`);
      }
      return recorded;
    },
    { ...options, apply: 'none' },
  );
}
