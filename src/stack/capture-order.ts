import { optionError } from '../option-error.js';
import type { FrameExif, StackNote } from './frame.js';
import { compareNames } from './natural-order.js';
import { someNames } from './words.js';

/** What orders frames, where the user says it. */
export type GivenOrder = 'time' | 'name';

/** Frames in capture order, what the order is based on, and a sentence for the user where it may surprise. */
export interface CaptureOrder<Item> {
  ordered: Item[];
  orderedBy: 'exif time' | 'name';
  note?: StackNote;
}

/** Share of frames without a capture time below which the times of the others decide. */
const maxUntimedShare = 1 / 4;
/** Maximum share of the stack that may be missing where a counter rolled over. */
const maxMissingShare = 1 / 5;
/** Minimum digits of a counter that is recognised as rolling over, from 999 to 000 or 001. */
const minDigits = 3;

/**
 * Capture order of photographs.
 *
 * - Every one has a capture time (sub-seconds included) of its own: time decides, whatever the names are.
 *   So a file counter that rolls over (IMG_9999, IMG_0001) does no harm.
 * - Times are there but some are equal, as with a burst and a clock of whole seconds: name order decides when
 *   times never run backwards along it, or run backwards once only, where the counter rolled over; the order
 *   then starts there.
 * - Times are missing in a few (fewer than a quarter), and those of the others agree with the names: the few go by name.
 * - Otherwise (no times, or equal times and names contradict each other): natural name order, from where a counter
 *   rolled over if the names show it.
 *
 * @param given What the user says instead: capture time, then name; or name alone.
 * @throws UsageError for time where a photograph has none.
 */
export function captureOrder<Item extends { name: string; exif: FrameExif }>(
  items: readonly Item[],
  given?: GivenOrder,
): CaptureOrder<Item> {
  const byName = [...items].sort((first, second) => compareNames(first.name, second.name));
  if (given === 'name') return nameOrder(byName);
  if (given === 'time') return { ordered: byTime(byName), orderedBy: 'exif time' };
  const times = byName.map((item) => item.exif.takenMs);
  if (!times.every((time) => time !== undefined)) return orderWithUntimed(byName);
  const distinct = new Set(times).size;
  if (distinct === times.length) return distinctTimeOrder(byName);
  if (distinct === 1) return nameOrder(byName);
  const start = ringStart(times);
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
  const ordered = fromStart(byName, start);
  return { ordered, orderedBy: 'exif time', ...(start > 0 && { note: rolloverNote(ordered[0].name) }) };
}

function byTime<Item extends { name: string; exif: FrameExif }>(byName: readonly Item[]): Item[] {
  const untimed = byName.filter(({ exif }) => exif.takenMs === undefined).map(({ name }) => name);
  if (untimed.length > 0) {
    throw optionError('order', 'name, where photographs have no capture time,', 'time', {
      why: `${someNames(untimed)} ${untimed.length === 1 ? 'has' : 'have'} none`,
    });
  }
  return [...byName].sort((first, second) => first.exif.takenMs! - second.exif.takenMs!);
}

function orderWithUntimed<Item extends { name: string; exif: FrameExif }>(
  byName: Item[],
): CaptureOrder<Item> {
  const timed = byName.filter(({ exif }) => exif.takenMs !== undefined);
  if (timed.length === 0) return nameOrder(byName);
  const missing = byName.length - timed.length;
  const missingText = `${missing} of ${byName.length} have no capture time`;
  if (missing < maxUntimedShare * byName.length) {
    const { ordered, orderedBy } = captureOrder(timed);
    const start = timed.indexOf(ordered[0]);
    const isAlongNames = ordered.every((item, i) => item === timed[(start + i) % timed.length]);
    if (orderedBy === 'exif time' && isAlongNames) {
      return {
        ordered: fromStart(byName, byName.indexOf(ordered[0])),
        orderedBy,
        note: {
          kind: 'order',
          message: `Frames are ordered by capture time: ${missingText} and go by name.`,
        },
      };
    }
  }
  const { ordered } = nameOrder(byName);
  return {
    ordered,
    orderedBy: 'name',
    note: { kind: 'order', message: `Frames are ordered by name: ${missingText}.` },
  };
}

function nameOrder<Item extends { name: string }>(byName: Item[]): CaptureOrder<Item> {
  const start = counterStart(byName.map(({ name }) => name));
  const ordered = fromStart(byName, start);
  if (start === 0) return { ordered, orderedBy: 'name' };
  const message = `Frames are ordered by name, beginning with ${ordered[0].name}: their counter rolled over after ${byName[byName.length - 1].name}.`;
  return { ordered, orderedBy: 'name', note: { kind: 'order', message } };
}

/**
 * Index of the first frame in a list of sorted names whose counter rolled over: two runs of numbers of equal width, of
 * which one ends at all nines and the other begins at 0 or 1, apart from a few missing frames. 0 where the names show
 * no rollover.
 */
function counterStart(names: readonly string[]): number {
  const parts = names.map((name) => /^(.*?)(\d+)(?:\.[^.]*)?$/.exec(name));
  const digits = parts[0]?.[2].length ?? 0;
  const isCounter = parts.every(
    (part) => part?.[1].toLowerCase() === parts[0]?.[1].toLowerCase() && part?.[2].length === digits,
  );
  if (!isCounter || digits < minDigits) return 0;
  const numbers = parts.map((part) => Number(part?.[2]));
  const count = numbers.length;
  // Counters restart at 0 or at 1.
  const missing = Math.max(0, numbers[0] - 1) + 10 ** digits - 1 - numbers[count - 1];
  if (missing > maxMissingShare * count) return 0;
  const jumps = numbers.slice(1).map((number, i) => number - numbers[i]);
  const widest = Math.max(...jumps);
  // Numbers spread over the whole range are not two runs.
  return widest > 10 ** digits / 2 ? jumps.indexOf(widest) + 1 : 0;
}

function fromStart<Item>(items: readonly Item[], start: number): Item[] {
  return [...items.slice(start), ...items.slice(0, start)];
}

function distinctTimeOrder<Item extends { name: string; exif: FrameExif }>(
  byName: Item[],
): CaptureOrder<Item> {
  const ordered = [...byName].sort((first, second) => first.exif.takenMs! - second.exif.takenMs!);
  const start = byName.indexOf(ordered[0]);
  if (ordered.every((item, i) => item === byName[(start + i) % byName.length])) {
    return { ordered, orderedBy: 'exif time', ...(start > 0 && { note: rolloverNote(ordered[0].name) }) };
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

function rolloverNote(first: string): StackNote {
  const message = `Frames are ordered by capture time: they begin with ${first} and run on past the end of the names.`;
  return { kind: 'order', message };
}

/** The index from which `times`, read as a ring, never decrease; undefined when there is none. */
function ringStart(times: number[]): number | undefined {
  const starts = times.flatMap((time, i) => (i > 0 && time < times[i - 1] ? [i] : []));
  if (starts.length === 0) return 0;
  return starts.length === 1 && times[times.length - 1] <= times[0] ? starts[0] : undefined;
}
