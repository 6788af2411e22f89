import { named, UsageError } from '../errors.js';
import type { MergeOptions } from '../options/merge-options.js';
import type { OptionTable } from '../options/option.js';
import { number } from '../options/option-kinds.js';
import { readPositionsFile } from '../rail/positions-table.js';
import { flagsOf, readFlags } from './option-flags.js';

/** What a file of positions may need beside it. */
export const positionsFileOptions: OptionTable<{ pitchUm?: number }> = {
  pitchUm: {
    kind: number(1e-6, 1e6, 'µm'),
    group: 'Scale and depth',
    help: 'travel of the rail for one step of its motor; for a file of positions that counts steps',
  },
};

type Positions = Pick<MergeOptions, 'positionsMm' | 'relativePositions'>;

/**
 * Options with the positions of the file that the command line names. A slip in the other options does
 * not wait for the file: they are checked beside positions that stand in.
 *
 * @param flags The command line, for what the file needs beside it.
 * @param resolve Checks options.
 */
export async function withPositions<Given extends Partial<Positions>>(
  given: Given,
  flags: Record<string, unknown>,
  resolve: (given: Given) => unknown,
): Promise<Given> {
  const { pitchUm } = readFlags(positionsFileOptions, flagsOf(positionsFileOptions, flags));
  // Texts yet: each is the path of a file.
  const { positionsMm, relativePositions }: Record<keyof Positions, unknown> = {
    positionsMm: given.positionsMm,
    relativePositions: given.relativePositions,
  };
  if (typeof positionsMm !== 'string' && typeof relativePositions !== 'string') {
    if (pitchUm === undefined) return given;
    throw positionsMissing();
  }
  const standIns = {
    ...(positionsMm !== undefined && { positionsMm: [0, 1] }),
    ...(relativePositions !== undefined && { relativePositions: [0, 1] }),
  };
  resolve({ ...given, ...standIns });
  if (typeof relativePositions === 'string') {
    if (pitchUm !== undefined) throw positionsMissing();
    const { values } = await readPositionsFile(relativePositions, { isRelative: true });
    return { ...given, relativePositions: values };
  }
  const { values, unit } = await readPositionsFile(String(positionsMm), { pitchUm });
  const { positionsMm: _, ...others } = given;
  return { ...others, ...(unit === 'mm' ? { positionsMm: values } : { relativePositions: values }) } as Given;
}

function positionsMissing(): UsageError {
  return new UsageError(
    `Expected ${named('positionsMm')} beside ${named('pitchUm')} but received only the latter.`,
  );
}

/** The file of positions that a command line names; undefined where it names none. */
export function positionsPath(flags: Record<string, unknown>): string | undefined {
  const path = flags.positionsMm ?? flags.relativePositions;
  return typeof path === 'string' ? path : undefined;
}

/**
 * The error as the user shall read it: a refusal of positions names the file that they were read from, which alone the
 * user can change.
 */
export function nameFileOfPositions(error: unknown, flags: Record<string, unknown>): unknown {
  const path = positionsPath(flags);
  if (path === undefined || !(error instanceof UsageError)) return error;
  if (error.option !== 'positionsMm' && error.option !== 'relativePositions') return error;
  return new UsageError(`${path}: ${error.messageWith(named)}`, { cause: error });
}
