import { InputError, named } from '../errors.js';

/**
 * Maximum frames of one stack: depth indices of that many are kept in 16 bits, to 1/16 frame; see
 * surface/depth-index.ts.
 */
export const maxFrames = 4000;

/** Highest number of a frame that the 16 bits of `sources.png` hold. */
export const maxSourceNumber = 65_535;

/**
 * Refuses a stack that is longer than can be merged, before any of its pixels are read.
 *
 * @param numbers Frame numbers of the stack, ascending.
 * @throws InputError
 */
export function refuseTooManyFrames(folder: string, numbers: readonly number[]): void {
  if (numbers.length > maxFrames) {
    throw new InputError(
      `Expected at most ${maxFrames} frames in one stack but "${folder}" holds ${numbers.length}: merge a part of them with ${named('frames')} A-B, or leave out frames with ${named('skip')}.`,
    );
  }
  const last = numbers.at(-1) ?? 0;
  if (last > maxSourceNumber) {
    throw new InputError(
      `Expected frame numbers up to ${maxSourceNumber} but "${folder}" asks for frame ${last}: move the stack into a folder of its own.`,
    );
  }
}
