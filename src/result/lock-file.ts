import { randomBytes } from 'node:crypto';
import { constants, copyFile, link, readdir, stat, unlink, utimes, writeFile } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import { readBoundedText } from '../stack/regular-file.js';
import { systemCode } from './output-failure.js';
import { identityOf, isLiving, type ProcessIdentity } from './process-identity.js';

/** Who holds a lock. */
export interface LockHolder extends ProcessIdentity {
  /** ISO 8601. */
  startedAt: string;
  token: string;
}

export interface LockFile {
  release(): Promise<void>;
}

/** The holder touches its lock this often: the only sign of life that other machines see. */
const beatMs = 15_000;

/** A lock of another machine without a touch for this long is stale: eight touches missed. */
const silentMs = 120_000;

/** A lock is one line. */
const maxLockBytes = 65_536;

/** Taking over a stale lock is a matter of milliseconds; whoever needs longer on another machine was killed in the middle. */
const takeoverMs = 10_000;

/**
 * Takes the lock that is the file `path`; undefined when another holds it. A lock whose holder no longer lives is
 * taken over.
 *
 * The lock is made whole under a name of its own and linked into place: link(2) fails where a lock stands, so
 * that two can never succeed, and nobody ever reads half of one.
 *
 * @param aside That name, in the same folder. Default: made from `path`.
 * @throws The system's error when the folder cannot be written.
 */
export async function takeLockFile(
  path: string,
  now: () => Date = () => new Date(),
  aside?: string,
): Promise<LockFile | undefined> {
  const token = randomBytes(8).toString('hex');
  const own: LockHolder = { ...identityOf(process.pid), startedAt: now().toISOString(), token };
  const whole = aside ?? `${path}.${token}`;
  try {
    await writeFile(whole, `${JSON.stringify(own)}\n`, { flag: 'wx' });
    if (!(await linked(whole, path))) {
      await removeStale(path, whole);
      if (!(await linked(whole, path))) return undefined;
    }
  } finally {
    await unlink(whole).catch(() => undefined);
  }
  await removeAbandoned(path);
  const beat = setInterval(() => {
    const time = new Date();
    utimes(path, time, time).catch(() => undefined);
  }, beatMs);
  beat.unref();
  return {
    async release() {
      clearInterval(beat);
      if ((await readLockFile(path))?.token === token) await unlink(path).catch(() => undefined);
    },
  };
}

/** The holder of a lock, living or not; undefined when there is none or it cannot be understood. */
export async function readLockFile(path: string): Promise<LockHolder | undefined> {
  try {
    const holder: unknown = JSON.parse(await readBoundedText(path, maxLockBytes));
    return isHolder(holder) ? holder : undefined;
  } catch {
    return undefined;
  }
}

/** The holder of a lock that lives; undefined when none does. */
export async function livingHolderOf(path: string): Promise<LockHolder | undefined> {
  const holder = await readLockFile(path);
  if (!holder) return undefined;
  return (isLiving(holder) ?? (await wasTouched(path))) ? holder : undefined;
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
async function removeStale(path: string, whole: string): Promise<void> {
  const turn = `${path}.takeover`;
  if (!(await linked(whole, turn))) {
    // Killed in the middle, its holder is known to be dead at once on this machine, on another by its age.
    const holder = await readLockFile(turn);
    if ((holder && isLiving(holder)) ?? (await isYoung(turn))) return;
    await unlink(turn).catch(() => undefined);
    if (!(await linked(whole, turn))) return;
  }
  try {
    const holder = await readLockFile(path);
    if (holder ? await livingHolderOf(path) : await isYoung(path)) return;
    await unlink(path).catch(() => undefined);
  } finally {
    await unlink(turn).catch(() => undefined);
  }
}

/** Removes the files of those who were killed before they had linked theirs into place. */
async function removeAbandoned(path: string): Promise<void> {
  const folder = dirname(path);
  const names = await readdir(folder).catch(() => []);
  for (const name of names) {
    const token = name.startsWith(`${basename(path)}.`) ? name.slice(basename(path).length + 1) : '';
    if (!/^[0-9a-f]{16}$/.test(token)) continue;
    const whole = join(folder, name);
    const holder = await readLockFile(whole);
    if ((holder && isLiving(holder)) ?? (await isYoung(whole))) continue;
    await unlink(whole).catch(() => undefined);
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
