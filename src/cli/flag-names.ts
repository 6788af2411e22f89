import type { Command } from 'commander';
import { optionSpecs } from '../options/option.js';
import { optionFlag } from '../options/option-flag.js';
import { planOptionTable } from '../plan/option-table.js';

/** Options whose flags are not those of their fields. */
const ownFlags = new Map(optionSpecs(planOptionTable));

/**
 * How the command line calls an option of the library: `--step` for `stepMm`; an argument of the command, such as the
 * region of a trace, by its word.
 *
 * @param command The command that was called; without it no argument is known.
 */
export function flagName(option: string, command?: Command): string {
  if (command?.registeredArguments.some((argument) => argument.name() === option)) return `the ${option}`;
  return optionFlag(option, ownFlags.get(option));
}
