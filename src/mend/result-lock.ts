import { realpath } from 'node:fs/promises';
import { basename, dirname, join, resolve } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { InterruptedError, OutputError } from '../errors.js';
import { type LockFile, type LockHolder, readLockFile, takeLockFile } from '../result/lock-file.js';
import { asOutputError, outputInPlace } from '../result/output-failure.js';
import { unfinishedPath } from '../result/unfinished.js';

/** How often a lock that another holds is tried again. */
const tryMs = 200;
/** A mend takes seconds, of the largest pictures a minute: whoever holds the lock for longer has come to a halt. */
const maxWaitMs = 180_000;

export interface LockOptions {
  signal?: AbortSignal | undefined;
  /** Called once, when another holds the lock: who it is, as "process 12 on bench". */
  onWait?: ((holder: string) => void) | undefined;
}

/**
 * Takes the lock of a result: whoever mends holds it from the reading of the list to the saving, so that nobody's
 * mends are lost. It lies beside the result, which is replaced as a whole. While another process holds
 * it, this waits.
 *
 * @param folder An existing result.
 * @throws OutputError when the folder beside it cannot be written, or the other does not come to an end;
 *   InterruptedError when stopped.
 */
export async function lockResult(folder: string, { signal, onWait }: LockOptions = {}): Promise<LockFile> {
  const target = await realpath(folder).catch(() => resolve(folder));
  const path = lockPathOf(target);
  const deadlineMs = performance.now() + maxWaitMs;
  for (let isFirst = true; ; isFirst = false) {
    if (signal?.aborted) throw new InterruptedError();
    const lock = await tryLock(path, target);
    if (lock) return lock;
    const holder = describeHolder(await readLockFile(path));
    if (isFirst) onWait?.(holder);
    if (performance.now() > deadlineMs) {
      throw new OutputError(
        `${folder} is still being mended by ${holder}. Wait for its end, or end it, and run again: nothing was changed.`,
      );
    }
    await pause(tryMs, undefined, { signal }).catch(() => undefined);
  }
}

/** Where the lock of a result lies; `target` is the folder itself, not a link to it. */
export function lockPathOf(target: string): string {
  return join(dirname(target), `.${basename(target)}.lamella-mending`);
}

function describeHolder(holder: LockHolder | undefined): string {
  if (!holder) return 'another process';
  return `process ${holder.pid} on ${holder.host}`;
}

async function tryLock(path: string, target: string): Promise<LockFile | undefined> {
  try {
    // Under a name that tidying knows, should this process be killed just now.
    return await takeLockFile(path, undefined, unfinishedPath(target, 'partial'));
  } catch (error) {
    throw outputInPlace(asOutputError(error, target));
  }
}
