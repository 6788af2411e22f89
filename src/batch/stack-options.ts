import { dirname, join, resolve } from 'node:path';
import { named, UsageError } from '../errors.js';
import { mergeAlternatives, mergeOptionTable } from '../options/merge-option-table.js';
import type { MergeOptions } from '../options/merge-options.js';
import { optionFlag } from '../options/option-flag.js';
import { readOptionValues } from '../options/read-option-text.js';
import { resolveOptions } from '../options/resolve-merge-options.js';
import { errorCode, fileErrorReason } from '../stack/file-error.js';
import { readBoundedText } from '../stack/regular-file.js';
import type { DiscoveredStack } from './discovered-stack.js';

/** File with the options of the stacks in its folder and below. */
export const optionsFileName = 'lamella.json';
/** Positions of the longest stacks, which may stand in it, take some megabytes. */
const maxOptionsBytes = 10e6;

/** Options that belong to the machine and the batch, not to a stack. */
const machineKeys = new Set<string>(['threads', 'device', 'memoryMb', 'overwrite', 'scratch']);

/** Reads option files once for all stacks of a search. */
export class StackOptions {
  private readonly files = new Map<string, Promise<Partial<MergeOptions>>>();

  /**
   * @param root Files above this folder are not looked for.
   * @param given Options of the command line, which any file overrides.
   */
  constructor(
    private readonly root: string,
    private readonly given: Partial<MergeOptions>,
  ) {}

  /**
   * Complete options of a stack: of the command line, overridden by `lamella.json` of the root, of the
   * folders from there down, and of the stack's own folder.
   * Throws UsageError that names the file and what is wrong in it.
   */
  async of({ folder, part }: Pick<DiscoveredStack, 'folder' | 'part'>): Promise<MergeOptions> {
    let options = this.given;
    for (const level of levels(resolve(this.root), resolve(folder))) {
      options = override(options, await this.fileIn(level));
    }
    if (part) refuseNumbers(options);
    return resolveOptions({ ...options, ...(part && { frames: part }) });
  }

  /** Path of the `lamella.json` that gives a stack its positions; undefined where none does. */
  async positionsFrom({ folder }: Pick<DiscoveredStack, 'folder'>): Promise<string | undefined> {
    for (const level of levels(resolve(this.root), resolve(folder)).reverse()) {
      const { stepMm, positionsMm, relativePositions } = await this.fileIn(level);
      if (positionsMm ?? relativePositions) return join(level, optionsFileName);
      if (stepMm !== undefined) return undefined;
    }
    return undefined;
  }

  private fileIn(folder: string): Promise<Partial<MergeOptions>> {
    const known = this.files.get(folder) ?? readOptionsFile(join(folder, optionsFileName));
    this.files.set(folder, known);
    return known;
  }
}

/** What of the options makes a difference to the result, as one text to be compared. */
export function optionsMark(options: MergeOptions): string {
  return JSON.stringify(Object.entries(options).filter(([key]) => !machineKeys.has(key)));
}

async function readOptionsFile(path: string): Promise<Partial<MergeOptions>> {
  let text: string;
  try {
    text = await readBoundedText(path, maxOptionsBytes);
  } catch (error) {
    if (errorCode(error) === 'ENOENT') return {};
    throw new UsageError(`${path} cannot be read: ${fileErrorReason(error)}.`);
  }
  let value: unknown;
  try {
    value = JSON.parse(text.replace(/^\uFEFF/, ''));
  } catch (error) {
    const why = error instanceof Error ? error.message : String(error);
    const advice = /:\s*-?\d+,\d/.test(text) ? ' Write decimals with a point, such as 0.05.' : '';
    throw new UsageError(`${path} is no JSON: ${why}.${advice}`);
  }
  if (typeof value !== 'object' || value === null || Array.isArray(value)) {
    throw new UsageError(`${path}: expected an object such as { "stepMm": 0.05 }.`);
  }
  refuseUnknown(path, Object.keys(value));
  const options = readOptionValues(mergeOptionTable, value);
  try {
    // Each file is checked by itself, so that a fault is reported with the file that has it.
    resolveOptions(complete(options));
  } catch (error) {
    throw error instanceof UsageError ? new UsageError(`${path}: ${error.message}`) : error;
  }
  return options;
}

/** A magnification may stand in one file and the pixel pitch in another. */
function complete(value: Partial<MergeOptions>): Partial<MergeOptions> {
  const { magnification, pixelPitchUm } = value;
  if ((magnification === undefined) === (pixelPitchUm === undefined)) return value;
  return { ...value, magnification: magnification ?? 1, pixelPitchUm: pixelPitchUm ?? 1 };
}

function refuseUnknown(path: string, keys: string[]): void {
  const allowed = Object.keys(mergeOptionTable).filter((key) => !machineKeys.has(key));
  const unknown = keys.filter((key) => !allowed.includes(key));
  if (unknown.length === 0) return;
  const described = unknown.map((key) => {
    if (machineKeys.has(key)) return `"${key}" (it holds for the whole batch: give it on the command line)`;
    const bare = key.toLowerCase().replace(/[^a-z]/g, '');
    const meant = allowed.find((field) =>
      [optionFlag(field).replace(/-/g, ''), field.toLowerCase()].includes(bare),
    );
    return meant ? `"${key}" (did you mean "${meant}"?)` : `"${key}"`;
  });
  throw new UsageError(
    `${path}: expected only the keys ${allowed.join(', ')} but received ${described.join(', ')}.`,
  );
}

function override(inherited: Partial<MergeOptions>, own: Partial<MergeOptions>): Partial<MergeOptions> {
  const kept = { ...inherited };
  for (const sides of mergeAlternatives) {
    for (const side of sides) {
      if (!side.some((key) => own[key] !== undefined)) continue;
      for (const other of sides) {
        if (other !== side) for (const key of other) delete kept[key];
      }
    }
  }
  return { ...kept, ...own };
}

/** Frame numbers count through the whole folder, in the order by which it is parted: one number cannot mean something in each part. */
function refuseNumbers(options: Partial<MergeOptions>): void {
  if (options.order !== undefined) {
    throw new UsageError(
      `Expected no ${named('order')} beside ${named('split')}, which parts a folder by an order of its own.`,
    );
  }
  const numbered = (['frames', 'skip', 'positionsMm', 'relativePositions'] as const).filter(
    (key) => (options[key]?.length ?? 0) > 0,
  );
  const names = [...numbered, ...(typeof options.anchor === 'number' ? ['anchor'] : [])];
  if (names.length > 0) {
    throw new UsageError(
      `Expected no frame numbers beside ${named('split')}, which parts a folder, but received ${names.map(named).join(', ')}.`,
    );
  }
}

/** The folders from the root down to a folder, both included. */
function levels(root: string, folder: string): string[] {
  const found = [folder];
  for (let level = folder; level !== root && level !== dirname(level); ) {
    level = dirname(level);
    found.unshift(level);
  }
  return found;
}
