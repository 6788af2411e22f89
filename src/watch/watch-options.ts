import { type CheckOptions, checkOptionTable, resolveCheckOptions } from '../check/check-options.js';
import { named, UsageError } from '../errors.js';
import type { OptionTable } from '../options/option.js';
import { whole } from '../options/option-kinds.js';
import { validateOptions } from '../options/validate-options.js';
import { maxFrames } from '../stack/frame-limit.js';

/** What a watch takes beside the options of a check. */
export interface WatchOnlyOptions {
  /** Frames that the plan asks for; default: as many as positions are given, else unknown. */
  plannedFrames?: number;
}

/** Options of a watch: those of a check but `frames` and `skip`, whose numbers are not known yet. */
export type WatchOptions = CheckOptions & WatchOnlyOptions;

export const watchOptionTable: OptionTable<WatchOnlyOptions> = {
  plannedFrames: {
    kind: whole(2, maxFrames),
    group: 'Watching',
    valueName: 'N',
    help: 'frames that the plan asks for, so that a watch says how many are to go',
    defaultText: 'as many as there are positions',
  },
};

/** Complete options from those given. Throws UsageError. */
export function resolveWatchOptions(given: Partial<WatchOptions>): WatchOptions {
  const { plannedFrames, ...others } = given;
  for (const field of ['frames', 'skip'] as const) {
    const value = others[field];
    if (value !== undefined && value.length > 0) {
      throw new UsageError(
        `Expected no ${named(field)} beside ${named('watch')}: frames have no numbers before they are shot.`,
      );
    }
  }
  const own = validateOptions(watchOptionTable, { plannedFrames });
  return { ...resolveCheckOptions(others), ...own };
}

/** Every option that a watch takes. */
export const allWatchOptions = { ...checkOptionTable, ...watchOptionTable };
