import { createHash, randomBytes } from 'node:crypto';
import { open, readdir, rename, rm, rmdir } from 'node:fs/promises';
import { hostname } from 'node:os';
import { basename, dirname, join } from 'node:path';
import { maxRunBytes } from '../stack/earlier-result.js';
import { readBoundedText } from '../stack/regular-file.js';
import { systemCode } from './output-failure.js';
import { identityOf, isLiving } from './process-identity.js';
import { runFileName, runSchemaName } from './run-record.js';

/**
 * Folders that a running merge keeps beside its result, all hidden:
 * `.<name>.lamella-partial-<machine>-<pid>-<began>-<random>` is being filled,
 * `.<name>.lamella-old-<machine>-<pid>-<began>-<random>` is the former result during the moment of replacement.
 * Machine, process and its start distinguish the leftovers of a killed run from the folders of a run that lives, also when
 * several machines write to shared storage, and when a later process got the number of a killed one.
 */
export type UnfinishedKind = 'partial' | 'old';

const namePattern = /^\.(.+)\.lamella-(partial|old)-([0-9a-f]{8})-(\d+)-([0-9a-f]{8})-[0-9a-f]{8}$/;

/** The path of a new hidden sibling of `out`. */
export function unfinishedPath(out: string, kind: UnfinishedKind): string {
  const random = randomBytes(4).toString('hex');
  const owner = `${tagOf(hostname())}-${process.pid}-${beganTag(process.pid)}`;
  return join(dirname(out), `.${basename(out)}.lamella-${kind}-${owner}-${random}`);
}

/**
 * Tidies up after killed runs in one folder: removes their partial results, and puts a former result back
 * where its replacement did not arrive. Folders of living processes and of other machines stay.
 * Failures are not reported: tidying is a courtesy, and what matters fails again with a better message.
 *
 * @param parent The folder in which results lie.
 * @param only Tidies for this result name alone; default all.
 */
export async function tidyUnfinished(parent: string, only?: string): Promise<void> {
  const names = await readdir(parent).catch(() => []);
  for (const name of names) {
    const match = namePattern.exec(name);
    if (!match || (only !== undefined && match[1] !== only)) continue;
    if (match[3] !== tagOf(hostname()) || ownerLives(Number(match[4]), match[5])) continue;
    const path = join(parent, name);
    if (match[2] === 'old' && !(await isReplaced(path, join(parent, match[1])))) continue;
    await rm(path, { recursive: true, force: true }).catch(() => undefined);
  }
}

/** True when the folder holds a run record of Lamella, of any version. */
export async function isResultFolder(folder: string): Promise<boolean> {
  try {
    const record: unknown = JSON.parse(await readBoundedText(join(folder, runFileName), maxRunBytes));
    return (
      typeof record === 'object' && record !== null && 'schema' in record && record.schema === runSchemaName
    );
  } catch {
    return false;
  }
}

/** Waits until the disk holds the entries of a folder. Some systems cannot: then there is nothing to wait for. */
export async function syncFolder(folder: string): Promise<void> {
  try {
    const handle = await open(folder, 'r');
    try {
      await handle.sync();
    } finally {
      await handle.close();
    }
  } catch (error) {
    const code = systemCode(error);
    if (!['EPERM', 'EISDIR', 'EINVAL', 'ENOTSUP', 'EACCES'].includes(code ?? '')) throw error;
  }
}

/**
 * True when `out` holds a result, or something where no result was replaced, so that the old one may go; otherwise tries
 * to put the old one back.
 */
async function isReplaced(old: string, out: string): Promise<boolean> {
  if (await isResultFolder(out)) return true;
  // Only an empty folder may be in the way: whatever else stands there is not ours to move.
  await rmdir(out).catch(() => undefined);
  const found = await readdir(out).catch(systemCode);
  if (found === 'ENOENT') await rename(old, out).catch(() => undefined);
  // Such as an export.
  return Array.isArray(found) && !(await isResultFolder(old));
}

/** Where the system does not report when a process began, its number alone must do. */
function ownerLives(pid: number, began: string): boolean {
  const now = identityOf(pid);
  return isLiving(now) === true && (now.began === null || tagOf(now.began) === began);
}

function beganTag(pid: number): string {
  return tagOf(identityOf(pid).began ?? '');
}

function tagOf(text: string): string {
  return createHash('sha256').update(text).digest('hex').slice(0, 8);
}
