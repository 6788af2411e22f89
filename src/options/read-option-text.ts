import { type OptionKind, type OptionTable, optionSpecs } from './option.js';

/**
 * The value that a text stands for, of a flag or in a file of options. A text that stands for none is returned as it is, so
 * that it is refused in the same words as any other bad value.
 */
export function readOptionText({ read }: Pick<OptionKind, 'read'>, text: string): unknown {
  return read?.(text) ?? text;
}

/**
 * The values of a file of options, where a text stands for the same as behind its flag. Anything else is returned as it
 * is, to be checked.
 */
export function readOptionValues<Options>(table: OptionTable<Options>, given: object): Partial<Options> {
  const specs = new Map(optionSpecs(table));
  const values = Object.entries(given).map(([field, value]: [string, unknown]) => {
    const { kind } = specs.get(field) ?? {};
    const isText = kind !== undefined && typeof value === 'string';
    return [field, isText ? readOptionText(kind, value) : (kind?.readValue?.(value) ?? value)];
  });
  return Object.fromEntries(values) as Partial<Options>;
}
