import { lstat, readdir, realpath } from 'node:fs/promises';
import { basename, dirname, join, relative, resolve, sep } from 'node:path';
import { named, OutputError } from '../errors.js';
import { isEarlierResult } from '../stack/earlier-result.js';
import { holdsPhotographs } from '../stack/photograph-folder.js';
import { openRegularFile } from '../stack/regular-file.js';

/** A single file that a command writes beside what it was given to read. */
export interface OutputTarget {
  /** As the user named it. */
  path: string;
  /** The option that names it, by its field: 'page'. */
  option: string;
  /** What is written, in words: 'contact sheet'. */
  noun: string;
  /** Folders of photographs that the command reads: nothing is written below them. */
  inputs?: readonly (string | undefined)[];
  /** Replace an earlier file of the same kind. Default false. */
  overwrite?: boolean | undefined;
  /** Which bytes of a file `isOurs` looks at. Default 'first'. */
  marked?: 'first' | 'last';
  /** Whether these bytes, `markBytes` of them or all, are those of such a file by Lamella. */
  isOurs: (bytes: Buffer) => boolean;
}

/** Bytes from the start or end of a file by which its kind is known. */
const markBytes = 8192;

/**
 * Refuses a path to write that would change what the command was not given to change: below a folder of
 * photographs that it reads, in any other folder of photographs, inside a result folder, or that of a file that
 * is not an earlier one of the same kind.
 *
 * @throws OutputError that names the path and says what to do.
 */
export async function refuseUnfitTarget(target: OutputTarget): Promise<void> {
  const { path, option, noun, overwrite = false, marked = 'first', isOurs } = target;
  await refuseUnfitPlace(target);
  const found = await lstat(path).catch(() => undefined);
  if (!found) return;
  if (!found.isFile()) {
    const kind = found.isDirectory() ? 'a folder' : found.isSymbolicLink() ? 'a link' : 'no regular file';
    throw new OutputError(`Cannot write ${path}: it is ${kind}. Choose another name for ${named(option)}.`);
  }
  if (!overwrite) {
    throw new OutputError(
      `${path} exists already: choose another name for ${named(option)}, or give ${named('overwrite')}.`,
    );
  }
  if (!isOurs(await readPart(path, marked))) {
    throw new OutputError(
      `${path} is no ${noun} of Lamella, so it is left alone, with or without ${named('overwrite')}: choose another name for ${named(option)}.`,
    );
  }
}

/**
 * Refuses a path for a new file or folder that lies below a folder of photographs that is read, in any other folder of
 * photographs, or inside a result folder.
 *
 * @throws OutputError as `refuseUnfitTarget`.
 */
export async function refuseUnfitPlace(
  target: Pick<OutputTarget, 'path' | 'option' | 'inputs'>,
): Promise<void> {
  const { path, inputs = [] } = target;
  refuseNameNotText(target);
  const folder = await realpath(dirname(resolve(path))).catch(() => {
    throw new OutputError(`Cannot write ${path}: the folder ${dirname(path)} does not exist. Make it first.`);
  });
  const result = await resultAround(folder);
  if (result !== undefined) throw inResult(target, result);
  for (const input of inputs) {
    if (input === undefined) continue;
    const photographs = await realpath(input).catch(() => resolve(input));
    if (isBelow(join(folder, basename(path)), photographs)) throw amongPhotographs(target, input);
  }
  if (await holdsPhotographs(folder)) throw amongPhotographs(target, dirname(path));
}

/**
 * Refuses a path for a new result, or for the folder of a batch, inside another result, which the next merge would
 * replace as a whole.
 *
 * @param out Absolute; parents that are missing are to be made.
 * @throws OutputError as `refuseUnfitTarget`.
 */
export async function refuseUnfitResultPlace(out: string): Promise<void> {
  const target = { path: out, option: 'out' };
  refuseNameNotText(target);
  const result = await resultAround(await existingParent(out));
  if (result !== undefined) throw inResult(target, result);
}

/** The real path of the nearest folder above a path that exists. */
async function existingParent(path: string): Promise<string> {
  const parent = dirname(path);
  return realpath(parent).catch(() => (parent === path ? parent : existingParent(parent)));
}

/** A name that is not UTF-8 arrives with replacement characters, and what is written would lie under another name. */
function refuseNameNotText({ path, option }: Pick<OutputTarget, 'path' | 'option'>): void {
  if (!path.includes('\ufffd')) return;
  throw new OutputError(
    `Cannot write ${path}: its name is not UTF-8 text. Choose another place for ${named(option)}.`,
  );
}

function inResult({ path, option }: Pick<OutputTarget, 'path' | 'option'>, result: string): OutputError {
  return new OutputError(
    `${path} lies in the result folder ${result}, no part of which is replaced: choose another place for ${named(option)}.`,
  );
}

function amongPhotographs(
  { path, option }: Pick<OutputTarget, 'path' | 'option'>,
  photographs: string,
): OutputError {
  return new OutputError(
    `${path} lies in the folder of photographs ${photographs}, into which nothing is written: choose another place for ${named(option)}.`,
  );
}

/** The result folder in which a folder lies, or which it is; undefined when there is none. */
async function resultAround(folder: string): Promise<string | undefined> {
  for (let level = folder; ; level = dirname(level)) {
    const names = await readdir(level).catch(() => []);
    if (await isEarlierResult(level, names)) return level;
    if (level === dirname(level)) return undefined;
  }
}

function isBelow(path: string, folder: string): boolean {
  const steps = relative(folder, path);
  return steps !== '..' && !steps.startsWith(`..${sep}`) && resolve(folder, steps) === path;
}

/** Empty for a file that cannot be read: it is not known to be ours. */
async function readPart(path: string, part: 'first' | 'last'): Promise<Buffer> {
  try {
    const handle = await openRegularFile(path);
    try {
      const from = part === 'first' ? 0 : Math.max(0, (await handle.stat()).size - markBytes);
      const { buffer, bytesRead } = await handle.read(Buffer.alloc(markBytes), 0, markBytes, from);
      return buffer.subarray(0, bytesRead);
    } finally {
      await handle.close();
    }
  } catch {
    return Buffer.alloc(0);
  }
}
