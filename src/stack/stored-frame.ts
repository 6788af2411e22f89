import type { PixelData } from '../image/image.js';
import type { FrameFile } from './frame.js';
import { refuseChangedFrames } from './frame-identity.js';

/** Whether the pixels of a frame lie on the disk as `decodeFrame` gives them in full, three channels of 16 bits. */
export function isStored({ raw, number, size, reduced }: FrameFile): boolean {
  const samples = raw?.kept?.samplesOf(number) ?? 0;
  return !reduced && samples === size.width * size.height * 3;
}

/**
 * Reads rows of a frame that `isStored` straight to where they are wanted, without a copy on the way.
 *
 * @param into (rows, cols, 3), from row `first` on.
 * @throws ChangedFrameError when the photograph is no longer what was listed.
 */
export async function readStored(frame: FrameFile, into: PixelData, first = 0): Promise<void> {
  if (!(into instanceof Uint16Array)) throw new TypeError('Expected room for samples of 16 bits');
  await frame.raw!.kept!.readInto(frame.number, into, first * frame.size.width * 3);
  refuseChangedFrames([frame]);
}
