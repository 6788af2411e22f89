import { InputError } from '../errors.js';
import type { Size } from '../image/image.js';
import { optionName } from '../option-names.js';
import { type CaptureOrder, captureOrder, type GivenOrder } from './capture-order.js';
import type { FrameExif, StackNote } from './frame.js';
import { joinWords } from './words.js';

/**
 * Sorts photographs into an order that is derived from those of the most common size only, so that other pictures in
 * the folder, such as a screenshot, do not influence it. A photograph of another size is inserted by its capture time
 * or its name, whichever the order is based on; else at the end.
 *
 * @param given As of `captureOrder`.
 */
export function orderByCommonSize<Item extends { name: string; size: Size; exif: FrameExif }>(
  items: readonly Item[],
  given?: GivenOrder,
): CaptureOrder<Item> {
  const counts = new Map<string, number>();
  for (const { size } of items) counts.set(sizeText(size), (counts.get(sizeText(size)) ?? 0) + 1);
  const largest = Math.max(...counts.values());
  const commonest = [...counts].filter(([, count]) => count === largest);
  // Without a majority the frames cannot be identified.
  if (commonest.length > 1) return captureOrder(items, given);
  const isFrame = ({ size }: Item) => sizeText(size) === commonest[0][0];
  const order = captureOrder(items.filter(isFrame), given);
  const odd = items.filter((item) => !isFrame(item));
  if (order.orderedBy === 'name') {
    // All by name, unless the names of the others hide the rollover of the frames' counter.
    const { ordered: all, orderedBy } = captureOrder(items, given);
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

/** The frames of the most common size, and a warning for each other one. */
export interface SizedFrames<Frame> {
  frames: Frame[];
  size: Size;
  warnings: StackNote[];
}

/**
 * Keeps the frames of the most common size. A few others (fewer than a quarter) are left out with a warning each; more,
 * no majority, or `strict` throw InputError that names them with their sizes.
 */
export function keepCommonSize<Frame extends Sized>(
  frames: readonly Frame[],
  strict: boolean,
): SizedFrames<Frame> {
  const groups = new Map<string, Frame[]>();
  for (const frame of frames) {
    const key = sizeText(frame.size);
    groups.set(key, [...(groups.get(key) ?? []), frame]);
  }
  const [largest, runnerUp] = [...groups.values()].sort((first, other) => other.length - first.length);
  const { size } = largest[0];
  const odd = frames.filter((frame) => sizeText(frame.size) !== sizeText(size));
  if (runnerUp && (runnerUp.length === largest.length || strict || odd.length * 4 >= frames.length)) {
    throw new InputError(mixMessage(frames.length, largest, runnerUp, odd));
  }
  return {
    frames: largest,
    size,
    warnings: odd.map((frame) => oddSizeNote(frame, size)),
  };
}

/** The warning about a frame that has not the size of the others. */
export function oddSizeNote(frame: Sized, size: Size): StackNote {
  return {
    kind: 'odd-size',
    message:
      `Frame ${frame.number} (${frame.name}) is left out: it is ${sizeText(frame.size)}, the others are ` +
      `${sizeText(size)}.${turnedHint([frame], size)}`,
    number: frame.number,
  };
}

function mixMessage(count: number, largest: Sized[], runnerUp: Sized[], odd: Sized[]): string {
  const { size } = largest[0];
  const shown = odd
    .slice(0, 8)
    .map((frame) => `frame ${frame.number} (${frame.name}) is ${sizeText(frame.size)}`);
  if (odd.length > shown.length) shown.push(`${odd.length - shown.length} more differ`);
  const share = runnerUp.length === largest.length ? `${largest.length}` : `most (${largest.length})`;
  return (
    `The frames differ in size: ${share} of ${count} are ${sizeText(size)}, but ${joinWords(shown)}. ` +
    `Put them into folders of their own, or leave the odd ones out with ${optionName('skip')}.${turnedHint(odd, size)}`
  );
}

/** A camera that points straight down detects a random orientation for every frame. */
function turnedHint(odd: readonly Sized[], size: Size): string {
  const turned = odd.every((frame) => frame.size.width === size.height && frame.size.height === size.width);
  return turned
    ? ' An orientation tag may have turned them on their side: correct the tag if the camera stood still.'
    : '';
}

function sizeText({ width, height }: Size): string {
  return `${width} x ${height}`;
}
