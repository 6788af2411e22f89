import type { FrameExif, StackNote } from './frame.js';
import { compareNames } from './natural-order.js';

/** Frames in capture order, what the order rests on, and a sentence for the user where it may surprise. */
export interface CaptureOrder<Item> {
  ordered: Item[];
  orderedBy: 'exif time' | 'name';
  note?: StackNote;
}

/**
 * Capture order of photographs.
 *
 * - Every one has a capture time (sub-seconds included) of its own: time decides, whatever the names say.
 *   So a file counter that rolls over (IMG_9999, IMG_0001) does no harm.
 * - Times are there but some are equal, as with a burst and a clock of whole seconds: name order decides when
 *   times never run backwards along it, or run backwards at one place only, where the counter rolled
 *   over; the order then starts after that place.
 * - Otherwise (a time is missing, or equal times and names contradict each other): natural name order.
 */
export function captureOrder<Item extends { name: string; exif: FrameExif }>(
  items: readonly Item[],
): CaptureOrder<Item> {
  const byName = [...items].sort((first, second) => compareNames(first.name, second.name));
  const times = byName.map((item) => item.exif.takenMs);
  if (!times.every((time) => time !== undefined)) {
    const missing = times.filter((time) => time === undefined).length;
    if (missing === times.length) return { ordered: byName, orderedBy: 'name' };
    return {
      ordered: byName,
      orderedBy: 'name',
      note: {
        kind: 'order',
        message: `Frames are ordered by name: ${missing} of ${times.length} have no capture time.`,
      },
    };
  }
  const distinct = new Set(times).size;
  if (distinct === times.length) return distinctTimeOrder(byName);
  if (distinct === 1) return { ordered: byName, orderedBy: 'name' };
  const start = onlyStart(times);
  if (start === undefined) {
    return {
      ordered: byName,
      orderedBy: 'name',
      note: {
        kind: 'order-contradicts',
        message:
          'Frames are ordered by name: some share a capture time, and the other times contradict the names.',
      },
    };
  }
  const ordered = [...byName.slice(start), ...byName.slice(0, start)];
  return { ordered, orderedBy: 'exif time', ...(start > 0 && { note: rolledOver(ordered[0].name) }) };
}

function distinctTimeOrder<Item extends { name: string; exif: FrameExif }>(
  byName: Item[],
): CaptureOrder<Item> {
  const ordered = [...byName].sort((first, second) => first.exif.takenMs! - second.exif.takenMs!);
  const start = byName.indexOf(ordered[0]);
  if (ordered.every((item, i) => item === byName[(start + i) % byName.length])) {
    return { ordered, orderedBy: 'exif time', ...(start > 0 && { note: rolledOver(ordered[0].name) }) };
  }
  return {
    ordered,
    orderedBy: 'exif time',
    note: {
      kind: 'order-differs',
      message: 'Frames are ordered by capture time, which differs from the order of their names.',
    },
  };
}

function rolledOver(first: string): StackNote {
  const message = `Frames are ordered by capture time: they begin with ${first} and run on past the end of the names.`;
  return { kind: 'order', message };
}

/** The index from which `times`, read round as a ring, never decrease; undefined when there is none. */
function onlyStart(times: number[]): number | undefined {
  const starts = times.flatMap((time, i) => (i > 0 && time < times[i - 1] ? [i] : []));
  if (starts.length === 0) return 0;
  return starts.length === 1 && times[times.length - 1] <= times[0] ? starts[0] : undefined;
}
