import type { EventEmitter } from 'node:events';
import { InterruptedError, LamellaError } from '../errors.js';

const stopSignals = ['SIGINT', 'SIGTERM'] as const;

/** The promise to end within a second, less the time that leaving takes on a busy machine. */
const endingTimeoutMs = 700;

/**
 * One key press can arrive twice: from the terminal, and again from a parent (npm does so) that hands
 * it on. Only a signal later than this is a second wish.
 */
const echoMs = 100;

/**
 * Run `work` so that SIGINT or SIGTERM ends it.
 *
 * The first signal aborts the AbortSignal that `work` was given. When `work` has not settled `waitMs` later,
 * or a second signal comes, `force` is called and the promise rejects without waiting for `work`.
 * After a signal every rejection is an InterruptedError; work that finished all the same still counts as done.
 */
export async function interruptible<T>(
  signals: EventEmitter,
  work: (signal: AbortSignal) => Promise<T>,
  force: () => void,
  waitMs = endingTimeoutMs,
): Promise<T> {
  const controller = new AbortController();
  let timer: NodeJS.Timeout | undefined;
  let firstMs = 0;
  let onSignal = (): void => {};

  const forced = new Promise<never>((_resolve, reject) => {
    const stopNow = (): void => {
      force();
      reject(new InterruptedError());
    };
    onSignal = () => {
      if (!controller.signal.aborted) {
        firstMs = performance.now();
        timer = setTimeout(stopNow, waitMs);
        controller.abort();
      } else if (performance.now() - firstMs > echoMs) {
        stopNow();
      }
    };
  });

  for (const name of stopSignals) signals.on(name, onSignal);
  try {
    return await Promise.race([work(controller.signal), forced]);
  } catch (error) {
    if (!controller.signal.aborted || error instanceof InterruptedError) throw error;
    // An abort surfaces as many kinds of error; only those written for the user have something to add.
    throw error instanceof LamellaError ? new InterruptedError(error.message) : new InterruptedError();
  } finally {
    clearTimeout(timer);
    for (const name of stopSignals) signals.off(name, onSignal);
  }
}
