import { optionError } from '../option-error.js';
import type { MergeOptions } from '../options/merge-options.js';
import { resolveOptions } from '../options/resolve-merge-options.js';
import { describePlanRange, isPlanValue, planOptionTable } from '../plan/option-table.js';
import type { PlanOptions } from '../plan/plan-options.js';

/** What a check can be told of the knob of the rail: as a plan is told. */
export type KnobOptions = Pick<PlanOptions, 'travelPerTurnMm' | 'marksPerTurn'>;

/** What a check can be told; a choice of the options of a merge, with the same names and ranges, and the knob of the rail. */
export type CheckOptions = Pick<
  MergeOptions,
  | 'frames'
  | 'skip'
  | 'stepMm'
  | 'positionsMm'
  | 'direction'
  | 'fieldWidthMm'
  | 'magnification'
  | 'pixelPitchUm'
  | 'maxMegapixels'
> &
  KnobOptions;

export const checkOptionKeys = [
  'frames',
  'skip',
  'stepMm',
  'positionsMm',
  'direction',
  'fieldWidthMm',
  'magnification',
  'pixelPitchUm',
  'maxMegapixels',
] as const satisfies (keyof CheckOptions)[];

export const knobOptionKeys = ['travelPerTurnMm', 'marksPerTurn'] as const satisfies (keyof KnobOptions)[];

/** Checks options by the table of the merge. Throws UsageError as `resolveOptions` does. */
export function resolveCheckOptions(given: Partial<CheckOptions>): CheckOptions {
  const { travelPerTurnMm, marksPerTurn, ...others } = given;
  const knob = resolveKnob({ travelPerTurnMm, marksPerTurn });
  const {
    frames,
    skip,
    stepMm,
    positionsMm,
    direction,
    fieldWidthMm,
    magnification,
    pixelPitchUm,
    maxMegapixels,
  } = resolveOptions(others);
  return {
    skip,
    direction,
    ...(frames && { frames }),
    ...(stepMm !== undefined && { stepMm }),
    ...(positionsMm && { positionsMm }),
    ...(fieldWidthMm !== undefined && { fieldWidthMm }),
    ...(magnification !== undefined && { magnification }),
    ...(pixelPitchUm !== undefined && { pixelPitchUm }),
    ...(maxMegapixels !== undefined && { maxMegapixels }),
    ...knob,
  };
}

function resolveKnob(
  given: {
    [Key in keyof KnobOptions]: KnobOptions[Key] | undefined;
  },
): KnobOptions {
  const knob: KnobOptions = {};
  for (const spec of planOptionTable) {
    const key = knobOptionKeys.find((known) => known === spec.key);
    const value = key && given[key];
    if (key === undefined || value === undefined) continue;
    if (!isPlanValue(spec.kind, value)) throw optionError(key, describePlanRange(spec), value);
    knob[key] = value;
  }
  return knob;
}
