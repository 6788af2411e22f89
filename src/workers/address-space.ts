import { readFileSync } from 'node:fs';
import { SystemError } from '../errors.js';

/** Address space that a thread reserves for its code, heap and stack, bytes: measured with Node 20 on x86-64, rounded up. */
const threadBytes = 0.6e9;
/** What decoding and writing need beside the threads, bytes. */
const otherBytes = 1e9;

/**
 * How many of the threads that are wanted can be started under a limit of the address space (`ulimit -v`): beyond it the
 * JavaScript engine does not fail to start one, it ends the process. All, where there is no limit or nothing says so.
 *
 * @throws SystemError when there is not room for one.
 */
export function threadsInAddressSpace(wanted: number): number {
  const limit = numberIn('/proc/self/limits', /^Max address space\s+(\d+)\s/m);
  const taken = numberIn('/proc/self/status', /^VmSize:\s+(\d+) kB/m);
  if (limit === undefined || taken === undefined) return wanted;
  const room = Math.floor((limit - 1024 * taken - otherBytes) / threadBytes);
  if (room >= 1) return Math.min(wanted, room);
  throw new SystemError(
    'address-space',
    `The address space is limited to ${(limit / 1e9).toFixed(1)} GB, which leaves no room for a thread that computes: raise the limit with "ulimit -v unlimited".`,
  );
}

function numberIn(file: string, pattern: RegExp): number | undefined {
  try {
    const found = pattern.exec(readFileSync(file, 'utf8'))?.[1];
    return found === undefined ? undefined : Number(found);
  } catch {
    // No such file system: nothing says what the limit is.
    return undefined;
  }
}
