import { mergeOptionTable } from '../options/merge-option-table.js';
import { planOptionTable } from '../plan/option-table.js';

/** Units at the end of fields, which flags do not carry. */
const unitEnding = /(Mm|Um|Mb|Px|S)$/;

/** The flag of an option of the library: `--step` for `stepMm`. */
export function optionFlag(option: string): string {
  const declared = [...mergeOptionTable, ...planOptionTable].find(({ key }) => key === option)?.flag;
  return `--${declared ?? kebab(option.replace(unitEnding, ''))}`;
}

function kebab(field: string): string {
  return field.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`);
}
