import { join } from 'node:path';
import { named, OutputError } from '../errors.js';
import {
  type LockFile,
  type LockHolder,
  livingHolderOf,
  readLockFile,
  takeLockFile,
} from '../result/lock-file.js';
import { asOutputError } from '../result/output-failure.js';

export const lockFileName = '.lamella-batch.lock';

/**
 * Takes the lock of a batch folder. A lock whose holder no longer lives is taken over.
 *
 * @throws OutputError that names process and start of a living holder.
 */
export async function takeLock(out: string, now?: () => Date): Promise<LockFile> {
  const path = join(out, lockFileName);
  let lock: LockFile | undefined;
  try {
    lock = await takeLockFile(path, now);
  } catch (error) {
    throw asOutputError(error, path);
  }
  if (!lock) throw refusal(out, await readLock(out));
  return lock;
}

/** The holder of the lock, living or not; undefined when there is none or it cannot be understood. */
export function readLock(out: string): Promise<LockHolder | undefined> {
  return readLockFile(join(out, lockFileName));
}

/** The holder that runs a batch in `out` now; undefined when none does. */
export function livingHolder(out: string): Promise<LockHolder | undefined> {
  return livingHolderOf(join(out, lockFileName));
}

function refusal(out: string, holder: LockHolder | undefined): OutputError {
  if (!holder) return new OutputError(`Another batch was just started on ${out}: wait for its end.`);
  const { pid, host, startedAt } = holder;
  return new OutputError(
    `A batch already runs on ${out}: process ${pid} on ${host}, started ${startedAt}. ` +
      `Wait for its end, look at it with ${named('status')}, or give this one another place with ${named('out')}.`,
  );
}
