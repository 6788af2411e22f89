import type { Command } from 'commander';
import { mergeOptionTable } from '../merge/option-table.js';
import { planOptionTable } from '../plan/option-table.js';

/** Units at the end of fields, which flags do not carry. */
const unitEnding = /(Mm|Um|Mb|Px|S)$/;

/**
 * How the command line calls an option of the library: `--step` for `stepMm`; an argument of the command, such as the
 * region of a trace, by its word.
 *
 * @param command The command that was called; without it no argument is known.
 */
export function flagName(option: string, command?: Command): string {
  if (command?.registeredArguments.some((argument) => argument.name() === option)) return `the ${option}`;
  const declared = [...mergeOptionTable, ...planOptionTable].find(({ key }) => key === option)?.flag;
  return `--${declared ?? kebab(option.replace(unitEnding, ''))}`;
}

function kebab(field: string): string {
  return field.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`);
}
