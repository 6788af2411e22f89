/** Time of one run in so many threads, any unit. */
export interface ThreadTime {
  threads: number;
  time: number;
}

/**
 * The serial share s of a work by Amdahl's law, T(n) = T(1) (s + (1 - s) / n), 0 to 1: the least-squares fit to the
 * times relative to that of one thread, which must be among them. NaN where there is nothing to fit.
 *
 * Reference: Amdahl, AFIPS Spring Joint Computer Conference, 1967.
 */
export function serialShare(times: readonly ThreadTime[]): number {
  const alone = times.find(({ threads }) => threads === 1)?.time ?? 0;
  let above = 0;
  let below = 0;
  for (const { threads, time } of times) {
    const perfect = 1 / threads;
    above += (time / alone - perfect) * (1 - perfect);
    below += (1 - perfect) ** 2;
  }
  return alone > 0 && below > 0 ? Math.min(1, Math.max(0, above / below)) : Number.NaN;
}
