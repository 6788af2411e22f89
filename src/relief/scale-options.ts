import { mergeOptionTable } from '../options/merge-option-table.js';
import type { MergeOptions } from '../options/merge-options.js';
import type { Given, OptionTable } from '../options/option.js';
import { refuseBoth, validateOptions } from '../options/validate-options.js';

/** What makes lengths of pixels and steps, given beside a result; each takes the place of what the merge was given. */
export type ScaleOptions = Pick<MergeOptions, 'stepMm' | 'fieldWidthMm' | 'magnification' | 'pixelPitchUm'>;

const group = 'Scale';
const fromMerge = 'as the merge was given it';

/** The same options as those of a merge, but that a result may know them already. */
export const scaleOptionTable: OptionTable<ScaleOptions> = {
  stepMm: { ...mergeOptionTable.stepMm, group, defaultText: fromMerge },
  fieldWidthMm: { ...mergeOptionTable.fieldWidthMm, group, defaultText: fromMerge },
  magnification: { ...mergeOptionTable.magnification, group },
  pixelPitchUm: { ...mergeOptionTable.pixelPitchUm, group },
};

/**
 * The options of scale that are given, checked.
 *
 * @throws UsageError.
 */
export function resolveScaleOptions(given: Given<ScaleOptions>): Partial<ScaleOptions> {
  const { stepMm, fieldWidthMm, magnification, pixelPitchUm } = given;
  const options = validateOptions(scaleOptionTable, { stepMm, fieldWidthMm, magnification, pixelPitchUm });
  refuseBoth(options, 'fieldWidthMm', 'magnification');
  refuseBoth(options, 'fieldWidthMm', 'pixelPitchUm');
  return options;
}
