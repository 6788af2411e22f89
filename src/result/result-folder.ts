import { lstat, mkdir, readdir, realpath, rename, rm, rmdir, statfs } from 'node:fs/promises';
import { basename, dirname, join, resolve } from 'node:path';
import { InputError, named, OutputError } from '../errors.js';
import { requirePath } from '../option-error.js';
import { optionName } from '../option-names.js';
import { isEarlierResult, maxRunBytes } from '../stack/earlier-result.js';
import { fileErrorReason } from '../stack/file-error.js';
import { readBoundedText } from '../stack/regular-file.js';
import { asOutputError, systemCode } from './output-failure.js';
import { refuseUnfitResultPlace } from './output-target.js';
import { isWithin } from './path-within.js';
import { runFileName } from './run-record.js';
import { isResultFolder, syncFolder, tidyUnfinished, unfinishedPath } from './unfinished.js';

export interface OpenResultOptions {
  /** Replace an existing result folder as a whole. Default false. */
  overwrite?: boolean | undefined;
  /** The folder of photographs: it may never lie inside the result, which is replaced as a whole. */
  inputFolder?: string | undefined;
  /** Bytes that the result will take at least; a disk with less room is refused at once. Default 0. */
  expectedBytes?: number | undefined;
  /**
   * For a result made from the one it replaces: asked of that one at the moment of replacement, after it was renamed aside.
   * When it is not the same any more it is put back, and the new one refused. Default: whatever stands there goes.
   */
  isStillSame?: ((old: string) => Promise<boolean>) | undefined;
}

/** A result on its way: everything is written into `dir`; `out` shows the old result, or none, until `commit`. */
export interface OpenResult {
  /** Absolute path of the hidden folder to write into. */
  readonly dir: string;
  /** Absolute path at which the result will appear. */
  readonly out: string;
  /**
   * Renames the finished folder to its final path. To be called once, after run.json was written.
   *
   * @param takeOver Asked to take what it wants from the result that goes, after it was renamed aside where nobody writes to it.
   */
  commit(takeOver?: (old: string) => Promise<void>): Promise<void>;
  /** Removes everything written. Safe to call at any time: after `commit` it does nothing. */
  discard(): Promise<void>;
}

/**
 * Prepares the path of a result, before the long work begins: an unfit path is refused now, not an hour later.
 * Leftovers of killed runs beside it are tidied up.
 *
 * A run killed at any moment leaves the old result or the new one. Between two renames of `commit` the old one
 * lies beside its path under a hidden name; the next merge into the same parent, or the next reading, puts it back.
 *
 * @param out Where the result shall appear; missing parents are created.
 * @throws OutputError when the path is taken, unwritable or too small.
 */
export async function openResult(out: string, options: OpenResultOptions = {}): Promise<OpenResult> {
  const target = await followLinks(resolve(out));
  const parent = dirname(target);
  let firstCreated: string | undefined;
  try {
    firstCreated = await mkdir(parent, { recursive: true });
    await tidyUnfinished(parent);
    await refuseUnfitPath(target, options);
    const dir = unfinishedPath(target, 'partial');
    await mkdir(dir);
    return resultIn(dir, target, options, firstCreated);
  } catch (error) {
    await removeCreated(parent, firstCreated);
    throw asOutputError(error, out);
  }
}

function resultIn(
  dir: string,
  out: string,
  { overwrite, isStillSame }: OpenResultOptions,
  firstCreated: string | undefined,
): OpenResult {
  let state: 'open' | 'kept' | 'gone' = 'open';
  return {
    dir,
    out,
    async commit(takeOver) {
      if (state !== 'open')
        throw new Error(`The result ${out} was already ${state === 'kept' ? 'kept' : 'discarded'}`);
      if (!(await isResultFolder(dir)))
        throw new Error(`${dir} has no ${runFileName}: write it before commit`);
      try {
        await syncFolder(dir);
        await refuseUnfitPath(out, { overwrite });
        await renameIntoPlace(dir, out, isStillSame, takeOver);
      } catch (error) {
        throw asOutputError(error, out);
      }
      state = 'kept';
    },
    async discard() {
      if (state !== 'open') return;
      state = 'gone';
      // A file that cannot be removed now is tidied up by the next run.
      await rm(dir, { recursive: true, force: true, maxRetries: 2 }).catch(() => undefined);
      await removeCreated(dirname(out), firstCreated);
    },
  };
}

/**
 * Renames a finished folder to its final path; what lies there stands aside until then, and stays when that fails.
 *
 * @param isStillSame, takeOver See `OpenResultOptions` and `OpenResult.commit`.
 */
export async function renameIntoPlace(
  dir: string,
  out: string,
  isStillSame?: OpenResultOptions['isStillSame'],
  takeOver?: (old: string) => Promise<void>,
): Promise<void> {
  const parent = dirname(out);
  const entries = await entriesOf(out);
  if (!entries?.length) {
    if (isStillSame) throw changedMeanwhile(out);
    if (entries) await rmdir(out);
    await rename(dir, out);
    await syncFolder(parent);
    return;
  }
  const old = unfinishedPath(out, 'old');
  await rename(out, old);
  try {
    // Only now, with the old one out of everybody's way, the answer holds.
    if (isStillSame && !(await isStillSame(old))) throw changedMeanwhile(out);
    if (takeOver) {
      await takeOver(old);
      await syncFolder(dir);
    }
    await rename(dir, out);
  } catch (error) {
    await rename(old, out);
    throw error;
  }
  await syncFolder(parent);
  // The new one stands; remains of the old one are tidied up by the next run.
  await rm(old, { recursive: true, force: true }).catch(() => undefined);
}

function changedMeanwhile(out: string): OutputError {
  return new OutputError(
    `${out} was changed by another program meanwhile. It was left as that program made it: run again.`,
  );
}

async function refuseUnfitPath(out: string, options: OpenResultOptions): Promise<void> {
  const entries = await entriesOf(out);
  if (options.inputFolder !== undefined && entries) {
    const input = await followLinks(resolve(options.inputFolder));
    if (isWithin(input, out)) {
      throw new OutputError(
        `The photographs in ${options.inputFolder} lie inside the result folder ${out}, which is replaced as a whole. Choose another place with ${named('out')}.`,
      );
    }
  }
  if (!entries?.length) await refuseUnfitResultPlace(out);
  else {
    if (!(await isEarlierResult(out, entries))) {
      throw new OutputError(
        `${out} is not empty and is no result of Lamella (it has no ${runFileName} of ours), so it is left alone, with or without ${named('overwrite')}. Choose another place with ${named('out')}.`,
      );
    }
    if (!options.overwrite) {
      throw new OutputError(
        `${out} already holds a result. Add ${named('overwrite')} to replace it, or choose another place with ${named('out')}.`,
      );
    }
  }
  if (options.expectedBytes) await refuseSmallDisk(dirname(out), options.expectedBytes);
}

async function refuseSmallDisk(parent: string, expectedBytes: number): Promise<void> {
  const disk = await statfs(parent);
  const freeBytes = disk.bavail * disk.bsize;
  if (freeBytes < expectedBytes) {
    throw new OutputError(
      `The result needs at least ${megabytes(expectedBytes)} but the disk of ${parent} has ${megabytes(freeBytes)} free. Free some space or choose another place with ${named('out')}.`,
    );
  }
}

/** The names in a folder, or undefined when there is nothing at that path. */
async function entriesOf(path: string): Promise<string[] | undefined> {
  try {
    return await readdir(path);
  } catch (error) {
    const entry = await lstat(path).catch(() => undefined);
    if (!entry && systemCode(error) === 'ENOENT') return undefined;
    if (entry?.isSymbolicLink()) {
      throw new OutputError(
        `${path} is a link that leads to no folder. Choose another place with ${optionName('out')}.`,
      );
    }
    if (entry && !entry.isDirectory()) {
      throw new OutputError(
        `${path} is a file, not a folder. Choose another place with ${optionName('out')}.`,
      );
    }
    throw error;
  }
}

/** The path behind a symbolic link, so that the link stays and its folder is replaced; a missing path as it is. */
async function followLinks(path: string): Promise<string> {
  return realpath(path).catch(() => path);
}

async function removeCreated(parent: string, firstCreated: string | undefined): Promise<void> {
  if (firstCreated === undefined) return;
  for (let folder = parent; isWithin(folder, firstCreated); folder = dirname(folder)) {
    // Stops at the first folder that holds something by now.
    if (
      !(await rmdir(folder).then(
        () => true,
        () => false,
      ))
    )
      return;
  }
}

function megabytes(bytes: number): string {
  const mb = bytes / 1e6;
  return `${mb < 10 ? Number(mb.toPrecision(2)) : Math.round(mb).toLocaleString('en')} MB`;
}

/** Refuses a path that is no result folder; puts a former result back first where a killed run left it aside. */
export async function requireResultFolder(folder: string): Promise<void> {
  requirePath(folder, 'result');
  if (await isResultFolder(folder)) return;
  const path = resolve(folder);
  await tidyUnfinished(dirname(path), basename(path));
  if (await isResultFolder(folder)) return;
  await refuseDamagedRecord(join(folder, runFileName));
  throw new InputError(
    `${folder} is no result folder: it has no ${runFileName} of Lamella. Name the folder that a merge wrote.`,
  );
}

/** Names what is wrong with a record that is there: it cannot be read, or was cut short or overwritten. */
async function refuseDamagedRecord(path: string): Promise<void> {
  let text: string;
  try {
    text = await readBoundedText(path, maxRunBytes);
  } catch (error) {
    if (['ENOENT', 'ENOTDIR'].includes(systemCode(error) ?? '')) return;
    throw new InputError(`Cannot read ${path}: ${fileErrorReason(error)}. Merge the stack again.`, {
      cause: error,
    });
  }
  try {
    JSON.parse(text);
  } catch (error) {
    throw new InputError(`${path} is damaged: it is no JSON. Merge the stack again.`, { cause: error });
  }
}
