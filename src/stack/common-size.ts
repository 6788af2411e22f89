import { InputError } from '../errors.js';
import type { Size } from '../image/image.js';
import type { StackNote } from './frame.js';
import { joinWords } from './words.js';

interface Sized {
  number: number;
  name: string;
  size: Size;
  /** EXIF orientation; 5 to 8 turn a picture on its side. */
  orientation: number;
}

/** The frames that have the size of most, and a warning for each that has not. */
export interface SizedFrames<Frame> {
  frames: Frame[];
  size: Size;
  warnings: StackNote[];
}

/**
 * Keeps the frames of the commonest size. A few odd ones (fewer than a quarter) are left out with a warning
 * each; more, no majority, or `strict` throw InputError that names them with their sizes.
 */
export function keepCommonSize<Frame extends Sized>(
  frames: readonly Frame[],
  strict: boolean,
): SizedFrames<Frame> {
  const groups = new Map<string, Frame[]>();
  for (const frame of frames) {
    const key = sizeWords(frame.size);
    groups.set(key, [...(groups.get(key) ?? []), frame]);
  }
  const [most, second] = [...groups.values()].sort((first, other) => other.length - first.length);
  const { size } = most[0];
  const odd = frames.filter((frame) => sizeWords(frame.size) !== sizeWords(size));
  if (second && (second.length === most.length || strict || odd.length * 4 >= frames.length)) {
    throw new InputError(mixMessage(frames.length, most, second, odd));
  }
  return {
    frames: most,
    size,
    warnings: odd.map(
      (frame): StackNote => ({
        kind: 'odd-size',
        message:
          `Frame ${frame.number} (${frame.name}) is left out: it is ${sizeWords(frame.size)}, the others are ` +
          `${sizeWords(size)}.${turnedHint([frame], size)}`,
        number: frame.number,
      }),
    ),
  };
}

function mixMessage(count: number, most: Sized[], second: Sized[], odd: Sized[]): string {
  const { size } = most[0];
  const shown = odd
    .slice(0, 8)
    .map((frame) => `frame ${frame.number} (${frame.name}) is ${sizeWords(frame.size)}`);
  if (odd.length > shown.length) shown.push(`${odd.length - shown.length} more differ`);
  const share = second.length === most.length ? `${most.length}` : `most (${most.length})`;
  return (
    `The frames differ in size: ${share} of ${count} are ${sizeWords(size)}, but ${joinWords(shown)}. ` +
    `Put them into folders of their own, or leave the odd ones out with --skip.${turnedHint(odd, size)}`
  );
}

/** A camera that looks straight down guesses its orientation anew for every frame. */
function turnedHint(odd: readonly Sized[], size: Size): string {
  const turned = odd.every((frame) => frame.size.width === size.height && frame.size.height === size.width);
  return turned
    ? ' An orientation tag may have turned them on their side: correct the tag if the camera stood still.'
    : '';
}

function sizeWords({ width, height }: Size): string {
  return `${width} x ${height}`;
}
