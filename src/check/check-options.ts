import type { MergeOptions } from '../merge/options.js';
import { resolveOptions } from '../merge/resolve-options.js';

/** What a check can be told; a choice of the options of a merge, with the same names and ranges. */
export type CheckOptions = Pick<
  MergeOptions,
  | 'frames'
  | 'skip'
  | 'stepMm'
  | 'direction'
  | 'fieldWidthMm'
  | 'magnification'
  | 'pixelPitchUm'
  | 'maxMegapixels'
>;

export const checkOptionKeys = [
  'frames',
  'skip',
  'stepMm',
  'direction',
  'fieldWidthMm',
  'magnification',
  'pixelPitchUm',
  'maxMegapixels',
] as const satisfies (keyof CheckOptions)[];

/** Checks options by the table of the merge. Throws UsageError as `resolveOptions` does. */
export function resolveCheckOptions(given: Partial<CheckOptions>): CheckOptions {
  const { frames, skip, stepMm, direction, fieldWidthMm, magnification, pixelPitchUm, maxMegapixels } =
    resolveOptions(given);
  return {
    skip,
    direction,
    ...(frames && { frames }),
    ...(stepMm !== undefined && { stepMm }),
    ...(fieldWidthMm !== undefined && { fieldWidthMm }),
    ...(magnification !== undefined && { magnification }),
    ...(pixelPitchUm !== undefined && { pixelPitchUm }),
    ...(maxMegapixels !== undefined && { maxMegapixels }),
  };
}
