import { lstat, readdir, realpath, stat } from 'node:fs/promises';
import { basename, extname, join, relative, resolve } from 'node:path';
import { InputError, InterruptedError } from '../errors.js';
import { isExportFolder } from '../export/export-record.js';
import { optionName } from '../option-names.js';
import { isWithin } from '../result/path-within.js';
import { isResultFolder } from '../result/unfinished.js';
import { isEarlierResult } from '../stack/earlier-result.js';
import { errorCode, fileErrorReason } from '../stack/file-error.js';
import { hasPictureEnding, hasRawEnding } from '../stack/file-kind.js';
import { type Inspected, inspectFile, type Photograph } from '../stack/inspect-file.js';
import { mapLimited } from '../stack/map-limited.js';
import { compareNames } from '../stack/natural-order.js';
import { minStackFrames } from '../stack/photograph-folder.js';
import { inspectRaw } from '../stack/raw/inspect-raw.js';
import { settleRaws } from '../stack/raw/settle-raws.js';
import { countOf, someNames } from '../stack/words.js';
import type { DiscoveredStack, SearchResult } from './discovered-stack.js';
import { nightListName } from './night-events.js';
import { partFolder, type SplitOptions } from './part-folder.js';
import { resultName, stackKey } from './result-name.js';
import type { InputFile } from './stack-inputs.js';

const filesAtOnce = 4;

export interface FindOptions {
  /** Folders that are not searched: the folder of the results. */
  exclude: readonly string[];
  maxPixels: number;
  /** Part each folder into the stacks that it holds. */
  split?: SplitOptions | undefined;
  /** Follow links that lead out of the root. Default false. */
  followLinks?: boolean | undefined;
  signal?: AbortSignal | undefined;
  /** What was learnt of files before; kept by callers that look again and again. */
  known?: InspectionCache;
}

/** By path and facts of a file, what it holds. */
export type InspectionCache = Map<string, { facts: string; inspected: Inspected }>;

/**
 * Finds the stacks below a folder, itself included: every folder with at least three frames, in natural order.
 * Hidden folders, results of Lamella, exports of them and folders of other batches are passed over. Links within the root are followed
 * once; those that lead out of it only with `followLinks`, for one to `/` would have the whole disk searched.
 *
 * @throws InputError when the root cannot be read. Other folders that cannot are listed in `passed`.
 */
export async function findStacks(root: string, options: FindOptions): Promise<SearchResult> {
  const findings: SearchResult = { stacks: [], passed: [], partings: [] };
  const seen = new Set(await Promise.all(options.exclude.map((path) => realpath(path).catch(() => path))));
  await searchFolder(resolve(root), resolve(root), options, seen, findings);
  return findings;
}

/** Throws InputError when the root cannot be read, before anything is made for its results. */
export async function requireRoot(root: string): Promise<void> {
  try {
    await readdir(root);
  } catch (error) {
    throw unreadableRoot(root, error);
  }
}

async function searchFolder(
  root: string,
  folder: string,
  options: FindOptions,
  seen: Set<string>,
  findings: SearchResult,
): Promise<void> {
  if (options.signal?.aborted) throw new InterruptedError();
  let names: string[];
  try {
    const realPath = await realpath(folder);
    if (seen.has(realPath)) return;
    seen.add(realPath);
    names = (await readdir(folder)).filter((name) => !name.startsWith('.')).sort(compareNames);
  } catch (error) {
    if (folder === root) throw unreadableRoot(root, error);
    findings.passed.push({
      folder,
      reason: `it cannot be read: ${fileErrorReason(error)}`,
      unreadable: true,
    });
    return;
  }
  if (await isEarlierResult(folder, names)) {
    if (!(await isResultFolder(folder))) {
      const reason = 'it is the result of a merge, whose run.json is damaged or gone';
      findings.passed.push({ folder, reason, unreadable: false });
    }
    return;
  }
  if (folder !== root && (names.includes(nightListName) || (await isExportFolder(folder)))) return;
  const boundary = options.followLinks ? undefined : await realpath(root).catch(() => root);
  const { files, folders, hidden, misnamed, leadingOut } = await sortEntries(folder, names, boundary);
  for (const { name, target, isFolder } of leadingOut) {
    if (!isFolder) continue;
    const reason = `it is a link that leads out of ${root}, to ${target}, and such links are followed with ${optionName('followLinks')} only`;
    findings.passed.push({ folder: join(folder, name), reason, unreadable: false });
  }
  for (const { name, reason } of misnamed) {
    findings.passed.push({ folder: join(folder, name), reason, unreadable: true });
  }
  try {
    refuseLeadingOut(root, leadingOut, files);
    if (hidden > 0)
      throw new InputError(`${countOf(hidden, 'file')} cannot be reached: permission is denied`);
    await inspectFolder(root, folder, files, options, findings);
  } catch (error) {
    if (error instanceof InterruptedError) throw error;
    const reason = error instanceof InputError ? error.message : fileErrorReason(error);
    const isLink = error instanceof LeadingOutError;
    findings.passed.push({
      folder,
      reason: isLink ? reason : `it cannot be read: ${reason}`,
      unreadable: true,
    });
  }
  for (const name of folders) await searchFolder(root, join(folder, name), options, seen, findings);
}

/** Photographs that are not read, so that their stack is not whole. */
class LeadingOutError extends InputError {}

interface Entries {
  files: InputFile[];
  folders: string[];
  /** Of how many the system gives no size. */
  hidden: number;
  /** Folders that cannot be entered by their names. */
  misnamed: { name: string; reason: string }[];
  /** Links that are not followed; `target` is a real path. */
  leadingOut: { name: string; target: string; isFolder: boolean }[];
}

/** What lies in a folder. @param boundary Real path out of which no link is followed; undefined: all are. */
async function sortEntries(folder: string, names: string[], boundary: string | undefined): Promise<Entries> {
  const entries: Entries = { files: [], folders: [], hidden: 0, misnamed: [], leadingOut: [] };
  for (const name of names) {
    const path = join(folder, name);
    try {
      const entry = await stat(path);
      if (boundary !== undefined && (await lstat(path)).isSymbolicLink()) {
        const target = await realpath(path);
        if (!isWithin(target, boundary)) {
          entries.leadingOut.push({ name, target, isFolder: entry.isDirectory() });
          continue;
        }
      }
      if (entry.isDirectory()) entries.folders.push(name);
      else if (entry.isFile()) {
        const { size, mtimeMs, ctimeMs } = entry;
        entries.files.push({ name, sizeBytes: size, modifiedMs: mtimeMs, changedMs: ctimeMs });
      }
    } catch (error) {
      if (errorCode(error) !== 'ENOENT') entries.hidden++;
      else if (name.includes('\ufffd') && (await isListedAsFolder(folder, name)))
        entries.misnamed.push({ name, reason: `it cannot be read: ${fileErrorReason(error)}` });
    }
  }
  return entries;
}

/** Whether a name is that of a folder, by the listing alone: a name that is not UTF-8 cannot be asked for. */
async function isListedAsFolder(parent: string, name: string): Promise<boolean> {
  const listed = await readdir(parent, { withFileTypes: true });
  return listed.some((entry) => entry.name === name && entry.isDirectory());
}

/** A stack is not merged without what may be its photographs, and a merge reads whatever lies in the folder. */
function refuseLeadingOut(
  root: string,
  leadingOut: Entries['leadingOut'],
  files: readonly InputFile[],
): void {
  const links = leadingOut.filter(({ isFolder }) => !isFolder).map(({ name }) => name);
  const frames = [...files.map(({ name }) => name), ...links].filter(
    (name) => hasPictureEnding(name) || hasRawEnding(name) || extname(name) === '',
  );
  if (links.length === 0 || frames.length < minStackFrames) return;
  throw new LeadingOutError(
    `it holds links to files outside of ${root}: ${someNames(links)}. Add ${optionName('followLinks')} to follow them, or remove them`,
  );
}

async function inspectFolder(
  root: string,
  folder: string,
  files: InputFile[],
  options: FindOptions,
  findings: SearchResult,
): Promise<void> {
  const listed = await mapLimited(
    files,
    filesAtOnce,
    (file) => inspectKnown(folder, file, options, false),
    options.signal,
  );
  const byName = new Map(files.map((file) => [file.name, file]));
  const { inspected } = await settleRaws(listed, {
    inspect: (name) => inspectKnown(folder, byName.get(name)!, options, true),
    signal: options.signal,
  });
  const photographs = inspected.flatMap((file) => (file.kind === 'photograph' ? [file.photograph] : []));
  // Also those of raw and JPEG that are not used: whoever takes one away changes the stack.
  const meant = files.filter((file, i) => isMeant(listed[i], file.name));
  const exposures = inspected.filter((file) => isMeant(file, nameOf(file))).length;
  if (exposures < minStackFrames) {
    if (exposures > 0) {
      const reason = `it holds ${countOf(exposures, 'photograph')}, and a stack has at least ${minStackFrames}`;
      findings.passed.push({ folder, reason, unreadable: false });
    }
    return;
  }
  const path = relative(root, folder);
  const rootName = basename(root) || 'root';
  const whole: DiscoveredStack = {
    key: stackKey(path),
    name: resultName(stackKey(path), rootName),
    folder,
    frames: photographs.length,
    ...commonFacts(photographs),
    files: meant,
  };
  if (!options.split) {
    findings.stacks.push(whole);
    return;
  }
  const parted = await partFolder(whole, photographs, options.split, options.signal);
  findings.partings.push(parted.sentence);
  const keys = new Set<string>();
  for (const { first, last, members } of parted.parts) {
    const names = new Set(members.map(({ name }) => name));
    // Two parts may begin with files that differ in their endings alone.
    const stem = stackKey(path, stemOf(members[0].name));
    const key = keys.has(stem) ? stackKey(path, members[0].name) : stem;
    keys.add(key);
    findings.stacks.push({
      key,
      name: resultName(key, rootName),
      folder,
      frames: members.length,
      ...commonFacts(members),
      files: meant.filter(({ name }) => names.has(name)),
      part: [first, last],
    });
  }
}

async function inspectKnown(
  folder: string,
  { name, ...facts }: InputFile,
  { known, maxPixels }: FindOptions,
  isRaw: boolean,
): Promise<Inspected> {
  const path = `${join(folder, name)}${isRaw ? ' as raw' : ''}`;
  const now = Object.values(facts).join(' ');
  const before = known?.get(path);
  if (before?.facts === now) return before.inspected;
  const inspected = await (isRaw ? inspectRaw : inspectFile)(folder, name, maxPixels);
  known?.set(path, { facts: now, inspected });
  return inspected;
}

function nameOf(file: Inspected): string {
  return file.kind === 'photograph' ? file.photograph.name : file.name;
}

function isMeant(inspected: Inspected, name: string): boolean {
  const isPicture = inspected.kind === 'photograph' || inspected.kind === 'raw';
  return isPicture || (inspected.kind === 'unusable' && (hasPictureEnding(name) || hasRawEnding(name)));
}

/** Facts of the greater number of frames, for estimates. */
function commonFacts(
  photographs: readonly Photograph[],
): Pick<DiscoveredStack, 'size' | 'channels' | 'bits'> {
  const counts = new Map<string, number>();
  let commonest: Photograph | undefined;
  let best = 0;
  for (const photograph of photographs) {
    const key = `${photograph.size.width} ${photograph.size.height}`;
    const count = (counts.get(key) ?? 0) + 1;
    counts.set(key, count);
    if (count > best) [commonest, best] = [photograph, count];
  }
  return {
    size: commonest?.size ?? { width: 0, height: 0 },
    channels: photographs.some(({ channels }) => channels === 3) ? 3 : 1,
    bits: photographs.some(({ bits }) => bits === 16) ? 16 : 8,
  };
}

function stemOf(name: string): string {
  return name.replace(/\.[^.]*$/, '');
}

function unreadableRoot(root: string, error: unknown): InputError {
  const code = errorCode(error);
  const reason =
    code === 'ENOTDIR' ? 'it is a file' : code === 'ENOENT' ? 'it does not exist' : fileErrorReason(error);
  return new InputError(`The folder "${root}" cannot be searched for stacks: ${reason}.`, { cause: error });
}
