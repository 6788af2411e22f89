/** What became of one part of the torture. */
export interface Tally {
  part: string;
  tried: number;
  right: number;
  /** What went wrong, with the way to see it again. */
  wrong: string[];
  /** Cases that the time did not allow. */
  left: number;
}

/** How a part is run. */
export interface TortureOptions {
  seed: number;
  /** Number of the first case, from 0. */
  from: number;
  /** Cases, at most. */
  count: number;
  /** Moment at which no further case is begun, by performance.now(). */
  untilMs: number;
  /** Gets a line for each wrong case as it is found. */
  log: (line: string) => void;
}

/** Why a case is wrong, in words; undefined when it is right. */
export type Verdict = string | undefined;

/**
 * Tries the cases of a part one after the other. Each depends on the seed and its own number alone, so that any of them
 * can be tried again by itself.
 *
 * @param tryCase Tries case i; says what it was, and what was wrong.
 */
export async function runCases(
  part: string,
  { seed, from, count, untilMs, log }: TortureOptions,
  tryCase: (i: number) => Promise<{ what: string; wrong: Verdict }>,
): Promise<Tally> {
  const tally: Tally = { part, tried: 0, right: 0, wrong: [], left: 0 };
  for (let i = from; i < from + count; i++) {
    if (performance.now() > untilMs) {
      tally.left = from + count - i;
      break;
    }
    const { what, wrong } = await tryCase(i);
    tally.tried++;
    if (wrong === undefined) {
      tally.right++;
      continue;
    }
    const again = `npm run torture -- --only ${part} --seed ${seed} --from ${i} --count 1`;
    tally.wrong.push(`${part} ${i}, ${what}: ${wrong} (again: ${again})`);
    log(tally.wrong.at(-1)!);
  }
  return tally;
}

/** The figures of all parts as a table. */
export function tallyTable(tallies: readonly Tally[]): string {
  const rows = [
    ['', 'tried', 'right', 'wrong', 'left'],
    ...tallies.map(({ part, tried, right, wrong, left }) => [
      part,
      String(tried),
      String(right),
      String(wrong.length),
      String(left),
    ]),
  ];
  const widths = rows[0].map((_, column) => Math.max(...rows.map((row) => row[column].length)));
  return rows
    .map((row) =>
      row
        .map((cell, column) => (column === 0 ? cell.padEnd(widths[0]) : cell.padStart(widths[column])))
        .join('  '),
    )
    .join('\n');
}
