import { InputError } from '../errors.js';
import { fileErrorReason } from '../stack/file-error.js';
import { readBoundedText } from '../stack/regular-file.js';
import { type FramePositions, type PositionsFacts, parsePositions } from './positions-table.js';

/** A table of positions is a few kilobytes; more is some other file. */
const maxBytes = 10_000_000;

/**
 * Positions of the frames in capture order from a text file, such as the log of a motor rail; see `parsePositions`.
 *
 * @param facts What the file itself may not say.
 * @throws InputError when the file cannot be read or a line is wrong.
 */
export async function readPositionsFile(path: string, facts: PositionsFacts = {}): Promise<FramePositions> {
  let text: string;
  try {
    text = await readBoundedText(path, maxBytes);
  } catch (error) {
    throw new InputError(`Cannot read the positions file ${path}: ${fileErrorReason(error)}.`, {
      cause: error,
    });
  }
  return parsePositions(text, path, facts);
}
