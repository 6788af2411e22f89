import { median } from '../image/median.js';

interface NamedFrame {
  number: number;
  name: string;
}

/** A counter in the names of a stack's files, such as that of a camera. */
export interface FileCounter {
  /** Names, without ending, of files that the counter has between two frames but the folder has not; in order. */
  missingBetween(first: number, last: number): string[];
}

/** Minimum number of digits of a counter. */
const minDigits = 2;
/** More missing files than this are another stack, not a gap in this one. */
const maxMissing = 50;

/**
 * The counter in file names that differ in nothing else and increase by a common step, mostly one; undefined where the
 * names have none. A counter that wraps around (9999, 0001) continues.
 */
export function fileCounter(frames: readonly NamedFrame[]): FileCounter | undefined {
  const parts = frames.map(({ name }) => /^(.*?)(\d+)(?:\.[^.]*)?$/.exec(name));
  const [, prefix, digits] = parts[0] ?? [];
  if (digits === undefined || digits.length < minDigits || frames.length < 3) return undefined;
  const isCounter = parts.every((part) => part?.[1] === prefix && part[2].length === digits.length);
  if (!isCounter) return undefined;
  const plain = parts.map((part) => Number(part?.[2]));
  // Cameras count 0001 after 9999.
  const lowest = plain.includes(0) ? 0 : 1;
  const period = 10 ** digits.length - lowest;
  let turns = 0;
  const counts = plain.map((count, i) => {
    if (i > 0 && count < plain[i - 1]) turns++;
    return count - lowest + turns * period;
  });
  if (turns > 1) return undefined;
  const counterStep = Math.round(
    median(
      Float64Array.from(
        counts.slice(1),
        (count, i) => (count - counts[i]) / (frames[i + 1].number - frames[i].number),
      ),
    ),
  );
  const rises = counts.every((count, i) => i === 0 || count > counts[i - 1]);
  if (!rises || counterStep < 1) return undefined;
  const indices = new Map(frames.map(({ number }, i) => [number, i]));
  return {
    missingBetween(first, last) {
      const [from, to] = [indices.get(first), indices.get(last)];
      if (from === undefined || to === undefined || to !== from + 1) return [];
      const names: string[] = [];
      for (
        let count = counts[from] + counterStep;
        count < counts[to] && names.length <= maxMissing;
        count += counterStep
      ) {
        names.push(`${prefix}${String((count % period) + lowest).padStart(digits.length, '0')}`);
      }
      return names.length > maxMissing ? [] : names;
    },
  };
}
