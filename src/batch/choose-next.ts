import type { StackNeeds } from './estimate.js';

/** A stack that waits or runs, as far as choosing is concerned. */
export interface Load extends StackNeeds {
  estimateMs: number;
}

/** What a batch may use now. */
export interface Room {
  threads: number;
  memoryMb: number;
  /** Free on the disk of the results, less what running stacks will still write. */
  freeBytes: number;
  /** Clock, ms since 1970. */
  nowMs: number;
  /** Nothing may end later than this by its estimate; undefined for no bound. */
  untilMs?: number | undefined;
}

/** What becomes of the first in the row; `wait`: it does not fit beside what runs. */
export type Choice =
  | { choice: 'start' }
  | { choice: 'put off'; why: 'no disk' | 'until' }
  | { choice: 'wait' }
  | { choice: 'nothing' };

/** Room that a batch leaves on the disk for its own list, page and log, bytes. */
export const slackBytes = 300_000;

/**
 * What to do next. Stacks keep their order: none overtakes a greater one, which would otherwise wait for ever
 * beside a stream of small ones. A stack too great for the memory runs alone, since its estimate may be wrong.
 */
export function chooseNext(waiting: readonly Load[], running: readonly Load[], room: Room): Choice {
  if (waiting.length === 0) return { choice: 'nothing' };
  const [next] = waiting;
  if (room.untilMs !== undefined && room.nowMs + next.estimateMs > room.untilMs) {
    return { choice: 'put off', why: 'until' };
  }
  if (next.diskBytes + slackBytes > room.freeBytes) return { choice: 'put off', why: 'no disk' };
  const threads = running.reduce((sum, load) => sum + load.threads, next.threads);
  const memoryMb = running.reduce((sum, load) => sum + load.memoryMb, next.memoryMb);
  const fits = threads <= room.threads && memoryMb <= room.memoryMb;
  return running.length === 0 || fits ? { choice: 'start' } : { choice: 'wait' };
}

/**
 * Time until all is done, ms, as far as the estimates know; stacks that leave threads free run side by side, but none
 * ends sooner than by itself.
 */
export function timeLeft(
  waiting: readonly Load[],
  running: readonly (Load & { elapsedMs: number })[],
  threads: number,
): number {
  const share = (load: Load): number => Math.min(1, load.threads / threads);
  const loads = [
    ...waiting,
    ...running.map((load) => ({ ...load, estimateMs: Math.max(0, load.estimateMs - load.elapsedMs) })),
  ];
  const together = loads.reduce((sum, load) => sum + load.estimateMs * share(load), 0);
  return loads.reduce((longest, { estimateMs }) => Math.max(longest, estimateMs), together);
}
