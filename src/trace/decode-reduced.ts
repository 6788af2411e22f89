import { InputError } from '../errors.js';
import { type DecodedFrame, decodeFrame, type Shrink } from '../stack/decode.js';
import { framePhotograph } from './frame-photograph.js';
import type { StackFrame } from './stack-frames.js';

/**
 * Decodes the photograph of a frame at 1 / shrink of the size that it was merged at, reduced while it is decoded where
 * the file type allows.
 *
 * @throws InputError when it cannot be decoded or is of another size than at the merge.
 */
export async function decodeReducedFrame(
  frame: StackFrame,
  path: string,
  shrink: Shrink = 1,
): Promise<DecodedFrame> {
  const { width, height } = frame.reduced?.fileSize ?? frame.size;
  const photograph = await framePhotograph(frame, path, width * height);
  if (photograph?.size.width !== width || photograph.size.height !== height) {
    throw new InputError(
      `Frame ${frame.number} (${path}) is no longer a picture of ${width} x ${height} pixels: it has changed since the merge.`,
    );
  }
  const { size, reduced, number } = frame;
  return decodeFrame({ ...photograph, number, size, ...(reduced && { reduced }) }, { shrink });
}
