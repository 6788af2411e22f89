import { requireOptions } from '../option-error.js';
import { mergeOptionTable } from '../options/merge-option-table.js';
import type { MergeOptions } from '../options/merge-options.js';
import type { OptionTable } from '../options/option.js';
import { refuseContradictions, sortedFrames } from '../options/resolve-merge-options.js';
import { validateOptions, withDefaults } from '../options/validate-options.js';
import { planOptionTable } from '../plan/option-table.js';
import type { PlanOptions } from '../plan/plan-options.js';

/** Options about the knob of the rail, as those of a plan. */
export type KnobOptions = Pick<PlanOptions, 'travelPerTurnMm' | 'marksPerTurn'>;

/** Options of a check: a selection of those of a merge, with the same names and ranges, and the knob of the rail. */
export type CheckOptions = Pick<
  MergeOptions,
  | 'frames'
  | 'skip'
  | 'order'
  | 'stepMm'
  | 'positionsMm'
  | 'relativePositions'
  | 'direction'
  | 'fieldWidthMm'
  | 'magnification'
  | 'pixelPitchUm'
  | 'prefer'
  | 'maxMegapixels'
> &
  KnobOptions;

const { stepMm, positionsMm, relativePositions, direction, fieldWidthMm, magnification, pixelPitchUm } =
  mergeOptionTable;
const { frames, skip, order, prefer, maxMegapixels } = mergeOptionTable;
const { travelPerTurnMm, marksPerTurn } = planOptionTable;

/** Every option of a check, in the order of the help. */
export const checkOptionTable: OptionTable<CheckOptions> = {
  ...{ stepMm, positionsMm, relativePositions, direction, fieldWidthMm, magnification, pixelPitchUm },
  ...{ frames, skip, order, prefer, maxMegapixels, travelPerTurnMm, marksPerTurn },
};

/**
 * Complete options from those given; a program may hand on all options of the merge to come, of which others than those
 * of a check are passed over. Throws UsageError as `resolveOptions` does.
 */
export function resolveCheckOptions(given: Partial<CheckOptions>): CheckOptions {
  requireOptions(given);
  const isOfMerge = (field: string): boolean => field in mergeOptionTable && !(field in checkOptionTable);
  const own = Object.fromEntries(Object.entries(given).filter(([field]) => !isOfMerge(field)));
  const options = withDefaults(checkOptionTable, validateOptions(checkOptionTable, own));
  options.skip = sortedFrames(options.skip);
  refuseContradictions(options);
  return options;
}
