import { named } from '../errors.js';
import { optionError, requireOptions, showValue } from '../option-error.js';
import { mergeAlternatives, mergeOptionTable } from './merge-option-table.js';
import type { MergeOptions } from './merge-options.js';
import { isWithin } from './option-kinds.js';
import { refuseBoth, requireBeside, validateOptions, withDefaults } from './validate-options.js';

/**
 * Complete options from those given, each checked against `mergeOptionTable` and against the others.
 * A field that is absent or undefined takes its default; `out`, which names a place and changes no
 * pixel, is passed over. Resolving the answer again gives the same answer.
 *
 * Throws UsageError, 'Expected <range> for <name> but received <value>'.
 */
export function resolveOptions(given: Partial<MergeOptions> & { out?: string }): MergeOptions {
  requireOptions(given);
  const { out: _, ...others } = given;
  const options = withDefaults(mergeOptionTable, validateOptions(mergeOptionTable, others));
  options.skip = sortedFrames(options.skip);
  refuseContradictions(options);
  return options;
}

/** Frame numbers in rising order, each once. */
export function sortedFrames(numbers: readonly number[]): number[] {
  return [...new Set(numbers)].sort((a, b) => a - b);
}

/** Refuses options of a merge that are valid each by itself but not together. */
export function refuseContradictions(options: Partial<MergeOptions>): void {
  for (const [ones, others] of mergeAlternatives) {
    for (const one of ones) for (const other of others) refuseBoth(options, one, other);
  }
  requireBeside(options, 'magnification', 'pixelPitchUm');
  requireBeside(options, 'pixelPitchUm', 'magnification');
  if (options.format === 'jpg' && options.bits === 16) {
    throw optionError('bits', '8, the most that jpg holds,', 16);
  }
  refuseUnusedFrames(options);
}

/** The frames that are left must hold the anchor and make a stack of two at least. */
function refuseUnusedFrames({ anchor, frames, skip = [] }: Partial<MergeOptions>): void {
  if (typeof anchor === 'number') {
    if (frames && !isWithin(anchor, frames[0], frames[1])) {
      throw optionError('anchor', `a frame within ${named('frames')} ${frames.join('-')}`, anchor);
    }
    if (skip.includes(anchor)) throw optionError('anchor', `a frame that ${named('skip')} keeps`, anchor);
  }
  if (frames) {
    const skipped = skip.filter((number) => isWithin(number, frames[0], frames[1]));
    if (frames[1] - frames[0] + 1 - skipped.length < 2) {
      throw optionError('skip', `two frames at least to remain of ${frames.join('-')}`, skip, {
        shown: showValue(skip.join(',')),
      });
    }
  }
}
