import { readFileSync } from 'node:fs';
import { hostname } from 'node:os';
import { systemCode } from './output-failure.js';

/** A process, distinguished from a later one that got the same number. */
export interface ProcessIdentity {
  pid: number;
  host: string;
  /** Mark of the moment at which the process began; null where the system does not report it. */
  began: string | null;
}

/** Identity of a process of this machine. */
export function identityOf(pid: number): ProcessIdentity {
  return { pid, host: hostname(), began: beganMark(pid) };
}

/** Whether a process lives; undefined when it is one of another machine. */
export function isLiving({ pid, host, began }: ProcessIdentity): boolean | undefined {
  if (host !== hostname()) return undefined;
  try {
    process.kill(pid, 0);
  } catch (error) {
    // A process of another user exists too.
    if (systemCode(error) === 'ESRCH') return false;
  }
  const now = beganMark(pid);
  return began === null || now === null || now === began;
}

/**
 * Start of the machine and ticks from there to the start of the process: field 22 of /proc/PID/stat,
 * counted behind the name, which may hold spaces and brackets (proc(5)). A zombie is no longer living.
 */
function beganMark(pid: number): string | null {
  try {
    const boot = readFileSync('/proc/sys/kernel/random/boot_id', 'utf8').trim();
    const stat = readFileSync(`/proc/${pid}/stat`, 'utf8');
    const fields = stat.slice(stat.lastIndexOf(')') + 2).split(' ');
    return fields[0] === 'Z' ? 'ended' : `${boot} ${fields[19]}`;
  } catch {
    return null;
  }
}
