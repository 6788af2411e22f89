import { InputError } from '../errors.js';
import type { Size } from '../image/image.js';
import { optionName } from '../option-names.js';
import { type CaptureOrder, captureOrder } from './capture-order.js';
import type { FrameExif, StackNote } from './frame.js';
import { joinWords } from './words.js';

/**
 * Puts photographs into an order that is decided among those of the commonest size alone: what lies beside the frames, such
 * as a screenshot, has no say. One of another size goes where its capture time or its name puts it, if the order rests on
 * that; else to the end.
 */
export function orderByCommonSize<Item extends { name: string; size: Size; exif: FrameExif }>(
  items: readonly Item[],
): CaptureOrder<Item> {
  const counts = new Map<string, number>();
  for (const { size } of items) counts.set(sizeWords(size), (counts.get(sizeWords(size)) ?? 0) + 1);
  const most = Math.max(...counts.values());
  const commonest = [...counts].filter(([, count]) => count === most);
  // Without a majority it is not known which are the frames.
  if (commonest.length > 1) return captureOrder(items);
  const isFrame = ({ size }: Item) => sizeWords(size) === commonest[0][0];
  const order = captureOrder(items.filter(isFrame));
  const odd = items.filter((item) => !isFrame(item));
  if (order.orderedBy === 'name') {
    // All by name, unless the names of the odd ones hide from where the others run.
    const { ordered: all, orderedBy } = captureOrder(items);
    const isAlike =
      orderedBy === 'name' && all.filter(isFrame).every((frame, i) => frame === order.ordered[i]);
    return { ...order, ordered: isAlike ? all : [...order.ordered, ...odd] };
  }
  const ordered = [...order.ordered];
  for (const item of odd) {
    const taken = item.exif.takenMs ?? Number.POSITIVE_INFINITY;
    const next = ordered.findIndex(({ exif }) => exif.takenMs !== undefined && exif.takenMs > taken);
    ordered.splice(next < 0 ? ordered.length : next, 0, item);
  }
  return { ...order, ordered };
}

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
    `Put them into folders of their own, or leave the odd ones out with ${optionName('skip')}.${turnedHint(odd, size)}`
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
