import { median } from '../image/median.js';
import { optionError } from '../option-error.js';
import type { MergeOptions } from '../options/merge-options.js';

/** The rail's travel as the user gives it: one step, or the position of each photograph, in mm or of unknown length. */
export type GivenTravel = Pick<MergeOptions, 'stepMm' | 'positionsMm' | 'relativePositions'>;

/** The photographs that positions are given for. */
export interface PositionedStack {
  folder: string;
  /** Number of photographs in the folder that have a frame number. */
  photographs: number;
  /** Numbers of those in use, ascending. */
  numbers: readonly number[];
}

/**
 * Refuses positions whose count differs from that of the photographs. Of a part of the stack they may be given up to
 * its end. Throws UsageError.
 *
 * @param from Name of the file with the positions, where it is known.
 */
export function refusePositionCount(
  { folder, photographs, numbers }: PositionedStack,
  { positionsMm, relativePositions }: GivenTravel,
  from?: string,
): void {
  const positions = positionsMm ?? relativePositions;
  const given = positions?.length;
  if (given === undefined || given === photographs || given === numbers.at(-1)) return;
  throw optionError(
    positionsMm ? 'positionsMm' : 'relativePositions',
    `a position for each of the ${photographs} photographs in "${folder}"`,
    positions,
    {
      shown: from === undefined ? `${given}` : `${given} in ${from}`,
      why: 'give one a photograph, in capture order. Those that cannot be used have no number, and want none',
    },
  );
}

/**
 * Mean travel of the rail from one frame in use to the next, mm; undefined where nothing was given.
 *
 * @param numbers Numbers of the frames in use, ascending; at least two.
 */
export function meanStepMm(
  numbers: readonly number[],
  { stepMm, positionsMm }: GivenTravel,
): number | undefined {
  if (!positionsMm) return stepMm;
  const [first, last] = [numbers[0], numbers[numbers.length - 1]];
  return Math.abs(positionsMm[last - 1] - positionsMm[first - 1]) / (numbers.length - 1);
}

/** Usual travel between successive frames, mm: the step, or the median of those between the positions. */
export function usualStepMm({ stepMm, positionsMm }: GivenTravel): number | undefined {
  if (!positionsMm) return stepMm;
  return median(
    Float64Array.from(positionsMm.slice(1), (position, i) => Math.abs(position - positionsMm[i])),
  );
}
