import { median } from '../image/median.js';
import { optionError } from '../option-error.js';
import type { MergeOptions } from '../options/merge-options.js';

/** What the user gives of the rail's travel: one step, or the position of each photograph. */
export type GivenTravel = Pick<MergeOptions, 'stepMm' | 'positionsMm'>;

/** The photographs that positions are given for. */
export interface PositionedStack {
  folder: string;
  /** How many photographs in the folder got a number. */
  photographs: number;
  /** Numbers of those that are in use, rising. */
  numbers: readonly number[];
}

/**
 * Refuses positions of another number than the photographs have. Of a part of the stack they may be given up to its end.
 * Throws UsageError.
 *
 * @param from Name of the file that the positions stand in, where it is known.
 */
export function refusePositionCount(
  { folder, photographs, numbers }: PositionedStack,
  { positionsMm }: GivenTravel,
  from?: string,
): void {
  const given = positionsMm?.length;
  if (given === undefined || given === photographs || given === numbers.at(-1)) return;
  throw optionError(
    'positionsMm',
    `a position for each of the ${photographs} photographs in "${folder}"`,
    positionsMm,
    {
      shown: from === undefined ? `${given}` : `${given} in ${from}`,
      why: 'give one a photograph, in capture order. Those that cannot be used have no number, and want none',
    },
  );
}

/**
 * Mean travel of the rail from one frame in use to the next, mm; undefined where nothing was given.
 *
 * @param numbers Of the frames in use, rising; at least two.
 */
export function meanStepMm(
  numbers: readonly number[],
  { stepMm, positionsMm }: GivenTravel,
): number | undefined {
  if (!positionsMm) return stepMm;
  const [first, last] = [numbers[0], numbers[numbers.length - 1]];
  return Math.abs(positionsMm[last - 1] - positionsMm[first - 1]) / (numbers.length - 1);
}

/** Usual travel between frames that follow each other, mm: the step, or the median of those between the positions. */
export function usualStepMm({ stepMm, positionsMm }: GivenTravel): number | undefined {
  if (!positionsMm) return stepMm;
  return median(Float64Array.from(positionsMm.slice(1), (place, i) => Math.abs(place - positionsMm[i])));
}
