import { availableParallelism } from 'node:os';
import { UsageError } from '../../errors.js';
import { optionName } from '../../option-names.js';
import type { StackNote } from '../frame.js';
import type { Inspected, Photograph } from '../inspect-file.js';
import { mapLimited } from '../map-limited.js';
import { countOf, someNames, stemOf } from '../words.js';
import { findLibRaw } from './libraw.js';
import { rawWorkers } from './raw-workers.js';

/** Which of a raw file and a JPEG of the same name is used. */
export type PreferredTwin = 'raw' | 'jpeg';

/** Files whose headers are read at once. */
const filesAtOnce = 4;

export interface SettleOptions {
  /** Absent: raw, where all that have a JPEG can be read. */
  prefer?: PreferredTwin | undefined;
  /** See `inspectRaw`. */
  inspect: (name: string) => Promise<Inspected>;
  signal?: AbortSignal | undefined;
}

/** The files of a folder with its raw files inspected, without those that others of the same name replace. */
export interface SettledFiles {
  inspected: Inspected[];
  notes: StackNote[];
  warnings: StackNote[];
}

/**
 * Decides which raw files of a folder are frames, and inspects them. One beside a TIFF, PNG or WebP of the same name has
 * been developed already and gives way; of raw and JPEG one is used, for all of the folder alike.
 *
 * @throws UsageError when raw files are needed and LibRaw is not installed.
 */
export async function settleRaws(
  inspected: readonly Inspected[],
  { prefer, inspect, signal }: SettleOptions,
): Promise<SettledFiles> {
  const raws = inspected.filter((file) => file.kind === 'raw').map(({ name }) => name);
  if (raws.length === 0) return { inspected: [...inspected], notes: [], warnings: [] };
  const photographs = inspected.flatMap((file) => (file.kind === 'photograph' ? [file.photograph] : []));
  const twins = twinsOf(photographs);
  const developed = raws.filter((name) => twins.get(stemOf(name))?.some(({ format }) => format !== 'jpeg'));
  const paired = raws.filter((name) => twins.has(stemOf(name)) && !developed.includes(name));
  const lone = raws.filter((name) => !twins.has(stemOf(name)));
  const notes: StackNote[] = [];
  const warnings: StackNote[] = [];
  const dropped = new Set(developed);
  const drop = (names: readonly string[], why: string) => {
    for (const name of names) dropped.add(name);
    if (names.length > 0) notes.push({ kind: 'ignored', message: `${rawWords(names)} ignored: ${why}.` });
  };
  drop(developed, 'the photographs of the same names are used');
  if (prefer === 'jpeg') {
    drop(paired, `the JPEG files of the same names are used, as ${optionName('prefer')} says`);
  }
  const wanted = [...lone, ...(prefer === 'jpeg' ? [] : paired)];
  const found = new Map<string, Inspected>();
  const isMissing = wanted.length > 0 ? await missingLibRaw() : undefined;
  if (isMissing) {
    // Where there is a stack without them, it can be merged.
    if (prefer === 'raw' || photographs.length < 2) throw isMissing;
    if (lone.length > 0) {
      warnings.push({ kind: 'raw', message: `${rawWords(lone)} left out. ${isMissing.message}` });
      for (const name of lone) dropped.add(name);
    }
    drop(paired, `the JPEG files of the same names are used. ${isMissing.message.replace(/\.$/, '')}`);
  } else {
    rawWorkers.allow(Math.min(filesAtOnce, availableParallelism()));
    const files = await mapLimited(wanted, filesAtOnce, inspect, signal);
    wanted.forEach((name, i) => void found.set(name, files[i]));
  }
  const used = paired.filter((name) => found.has(name));
  const unreadable = used.map((name) => found.get(name)!).find((file) => file.kind === 'unusable');
  if (unreadable && prefer !== 'raw') {
    for (const name of used) dropped.add(name);
    const message = `The JPEG files of the same names are used instead of ${rawWords(used)}: ${unreadable.name} ${unreadable.reason}.`;
    warnings.push({ kind: 'raw', message });
  } else if (used.length > 0) {
    const jpegs = used.flatMap((name) => (twins.get(stemOf(name)) ?? []).map((twin) => twin.name));
    for (const name of jpegs) dropped.add(name);
    const message = `${countOf(jpegs.length, 'JPEG file')} (${someNames(jpegs)}) ignored: the camera raw files of the same names are used. ${optionName('prefer')} jpeg uses the JPEG files.`;
    notes.push({ kind: 'ignored', message });
  }
  const left = inspected.filter((file) => !dropped.has(nameOf(file)));
  return { inspected: left.map((file) => found.get(nameOf(file)) ?? file), notes, warnings };
}

/** Why LibRaw cannot be used; undefined when it can. */
async function missingLibRaw(): Promise<UsageError | undefined> {
  try {
    await findLibRaw();
    return undefined;
  } catch (error) {
    if (error instanceof UsageError) return error;
    throw error;
  }
}

function twinsOf(photographs: readonly Photograph[]): Map<string, Photograph[]> {
  const twins = new Map<string, Photograph[]>();
  for (const photograph of photographs) {
    const stem = stemOf(photograph.name);
    twins.set(stem, [...(twins.get(stem) ?? []), photograph]);
  }
  return twins;
}

function nameOf(file: Inspected): string {
  return file.kind === 'photograph' ? file.photograph.name : file.name;
}

function rawWords(names: readonly string[]): string {
  return `${countOf(names.length, 'camera raw file')} (${someNames(names)})`;
}
