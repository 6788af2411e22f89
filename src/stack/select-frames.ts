import { named, UsageError } from '../errors.js';
import { optionError } from '../option-error.js';
import { countOf } from './words.js';

/** Which frames of a folder to use, by their number in capture order (1 = first). */
export interface FrameSelection {
  /** First and last frame to use, both included; default all. */
  frames?: readonly [number, number] | undefined;
  /** Frames to leave out. */
  skip?: readonly number[] | undefined;
}

/** Throws UsageError for numbers that no folder can have; called before the folder is read. */
export function checkSelection({ frames, skip }: FrameSelection): void {
  for (const number of skip ?? []) {
    if (!isFrameNumber(number)) {
      throw optionError('skip', 'whole frame numbers from 1', number);
    }
  }
  if (frames && !(isFrameNumber(frames[0]) && isFrameNumber(frames[1]) && frames[0] <= frames[1])) {
    throw optionError('frames', 'a first and a last frame number from 1, in this order,', frames, {
      shown: frames.join('-'),
    });
  }
}

/** The numbered frames that the selection keeps; they keep their numbers. Throws UsageError when
 * a number lies beyond the last frame or fewer than two frames remain. */
export function selectFrames<Frame extends { number: number }>(
  numbered: readonly Frame[],
  { frames, skip }: FrameSelection,
): Frame[] {
  const count = numbered.length;
  if (frames && frames[1] > count) {
    throw optionError('frames', `frame numbers from 1 to ${count}, the last of the folder,`, frames, {
      shown: frames.join('-'),
    });
  }
  const beyond = skip?.find((number) => number > count);
  if (beyond !== undefined) {
    throw optionError('skip', `frame numbers from 1 to ${count}, the last of the folder,`, beyond);
  }
  const [first, last] = frames ?? [1, count];
  const left = new Set(skip);
  const kept = numbered.filter(({ number }) => number >= first && number <= last && !left.has(number));
  if (kept.length < 2) {
    throw new UsageError(
      `The options ${named('frames')} and ${named('skip')} keep ${countOf(kept.length, 'frame')} of ${count}: at least 2 are needed.`,
    );
  }
  return kept;
}

function isFrameNumber(value: number): boolean {
  return Number.isSafeInteger(value) && value >= 1;
}
