import { randomBytes } from 'node:crypto';
import { constants, copyFile, link, readFile, stat, unlink, utimes, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { OutputError } from '../errors.js';
import { asOutputError, systemCode } from '../result/output-failure.js';
import { identityOf, isLiving, type ProcessIdentity } from '../result/process-identity.js';

/** Who holds the lock of a batch folder. */
export interface LockHolder extends ProcessIdentity {
  /** ISO 8601. */
  startedAt: string;
  token: string;
}

export interface BatchLock {
  release(): Promise<void>;
}

export const lockFileName = '.lamella-batch.lock';

/** The holder touches its lock this often: the only sign of life that other machines see. */
const beatMs = 15_000;

/** A lock of another machine without a touch for this long is stale: eight touches missed. */
const silentMs = 120_000;

/** Taking over a stale lock is a matter of milliseconds; whoever needs longer was killed in the middle. */
const takeoverMs = 10_000;

/**
 * Takes the lock of a batch folder. A lock whose holder no longer lives is taken over.
 *
 * The lock is made whole under a name of its own and linked into place: link(2) fails where a lock stands, so
 * that two can never succeed, and nobody ever reads half of one.
 *
 * @throws OutputError that names process and start of a living holder.
 */
export async function takeLock(out: string, now: () => Date = () => new Date()): Promise<BatchLock> {
  const path = join(out, lockFileName);
  const token = randomBytes(8).toString('hex');
  const own: LockHolder = { ...identityOf(process.pid), startedAt: now().toISOString(), token };
  const aside = `${path}.${token}`;
  try {
    await writeFile(aside, `${JSON.stringify(own)}\n`, { flag: 'wx' });
    if (!(await linked(aside, path))) {
      await removeStale(path, aside);
      if (!(await linked(aside, path))) throw refusal(out, await readLock(out));
    }
  } catch (error) {
    throw asOutputError(error, path);
  } finally {
    await unlink(aside).catch(() => undefined);
  }
  const beat = setInterval(() => {
    const time = new Date();
    utimes(path, time, time).catch(() => undefined);
  }, beatMs);
  beat.unref();
  return {
    async release() {
      clearInterval(beat);
      if ((await readLock(out))?.token === token) await unlink(path).catch(() => undefined);
    },
  };
}

/** The holder of the lock, living or not; undefined when there is none or it cannot be understood. */
export async function readLock(out: string): Promise<LockHolder | undefined> {
  try {
    const holder: unknown = JSON.parse(await readFile(join(out, lockFileName), 'utf8'));
    return isHolder(holder) ? holder : undefined;
  } catch {
    return undefined;
  }
}

/** The holder that runs a batch in `out` now; undefined when none does. */
export async function livingHolder(out: string): Promise<LockHolder | undefined> {
  const holder = await readLock(out);
  if (!holder) return undefined;
  return (isLiving(holder) ?? (await wasTouched(join(out, lockFileName)))) ? holder : undefined;
}

async function linked(from: string, to: string): Promise<boolean> {
  try {
    await link(from, to).catch((error: unknown) => {
      // Memory cards and some network storage know no links.
      if (!['EPERM', 'ENOTSUP', 'ENOSYS', 'EMLINK'].includes(systemCode(error) ?? '')) throw error;
      return copyFile(from, to, constants.COPYFILE_EXCL);
    });
    return true;
  } catch (error) {
    if (systemCode(error) === 'EEXIST') return false;
    throw error;
  }
}

/** Removes a stale lock. One at a time, so that nobody removes the lock that another has just taken. */
async function removeStale(path: string, aside: string): Promise<void> {
  const turn = `${path}.takeover`;
  if (!(await linked(aside, turn))) {
    if (await isYoung(turn)) return;
    await unlink(turn).catch(() => undefined);
    if (!(await linked(aside, turn))) return;
  }
  try {
    const out = path.slice(0, -lockFileName.length);
    const holder = await readLock(out);
    if (holder ? await livingHolder(out) : await isYoung(path)) return;
    await unlink(path).catch(() => undefined);
  } finally {
    await unlink(turn).catch(() => undefined);
  }
}

/** A lock that says nothing is being written, or its machine went down before the disk held it. */
async function isYoung(path: string): Promise<boolean> {
  const age = await ageMs(path);
  return age !== undefined && age < takeoverMs;
}

/** Whether the lock was touched lately. */
async function wasTouched(path: string): Promise<boolean> {
  const age = await ageMs(path);
  return age !== undefined && age < silentMs;
}

async function ageMs(path: string): Promise<number | undefined> {
  return stat(path).then(
    ({ mtimeMs }) => Date.now() - mtimeMs,
    () => undefined,
  );
}

function refusal(out: string, holder: LockHolder | undefined): OutputError {
  if (!holder) return new OutputError(`Another batch was just started on ${out}: wait for its end.`);
  const { pid, host, startedAt } = holder;
  return new OutputError(
    `A batch already runs on ${out}: process ${pid} on ${host}, started ${startedAt}. ` +
      `Wait for its end, look at it with --status, or give this one another place with --out.`,
  );
}

function isHolder(value: unknown): value is LockHolder {
  if (typeof value !== 'object' || value === null) return false;
  const { pid, host, startedAt, token, began } = value as Record<string, unknown>;
  return (
    Number.isInteger(pid) &&
    typeof host === 'string' &&
    typeof startedAt === 'string' &&
    typeof token === 'string' &&
    (began === null || typeof began === 'string')
  );
}
