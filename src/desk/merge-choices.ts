import type { MergeOptions } from '../options/merge-options.js';
import type { MergeChoices } from './protocol.js';

/** Options that the page may choose; their values are checked as those of a merge. */
const choosable = [
  'stepMm',
  'fieldWidthMm',
  'rule',
  'anchor',
  'crop',
  'format',
  'direction',
  'skip',
  'order',
] as const;

/** What the page chose, yet to be checked; nothing else passes. */
export function chosenOptions(choices: MergeChoices): Partial<MergeOptions> {
  const given = choosable.flatMap((name) => {
    const value = choices[name];
    return value === undefined || value === null ? [] : [[name, value]];
  });
  return Object.fromEntries(given);
}
