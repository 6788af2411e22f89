import { named, UsageError } from './errors.js';
import { commaAdvice } from './options/read-number.js';

/** Longest piece of a received value that a message repeats, characters. */
const maxShown = 60;

/**
 * The error for a value that an option does not take: _Expected RANGE for NAME but received VALUE_.
 *
 * @param option Name of the option's field.
 * @param range The values that it takes, in words; may name other options by `named`.
 * @param details `shown`: the value in words, where it is best shown otherwise than as it is; `why`: the reason of the
 *   range or what to do, at the end of the message; `cause`.
 */
export function optionError(
  option: string,
  range: string,
  value: unknown,
  details: { shown?: string; why?: string; cause?: unknown } = {},
): UsageError {
  const { shown = showValue(value), cause } = details;
  const why = (typeof value === 'string' ? commaAdvice(value) : undefined) ?? details.why;
  const end = why === undefined ? '' : `: ${why}`;
  const plainRange = new UsageError(range).message;
  return new UsageError(`Expected ${range} for ${named(option)} but received ${shown}${end}`, {
    ...(cause !== undefined && { cause }),
    fault: { option, range: plainRange, value },
  });
}

/** Refuses what is no path, as programs without types may hand it over. Throws UsageError. */
export function requirePath(value: unknown, option: string, noun = 'folder'): void {
  if (typeof value !== 'string' || value === '') throw optionError(option, `the path of a ${noun}`, value);
}

/** Refuses what is no object of options. Throws UsageError. */
export function requireOptions(value: unknown): void {
  if (typeof value === 'object' && value !== null) return;
  throw new UsageError(`Expected an object of options but received ${showValue(value)}`);
}

/** A received value as a message shows it, cut where it grows long. */
export function showValue(value: unknown): string {
  const text = value === '' ? 'an empty text' : typeof value === 'string' ? value : valueText(value, 0);
  return text.length > maxShown ? `${text.slice(0, maxShown)}...` : text;
}

/** A value as JavaScript writes it, to the depth and length that a message has room for. Knows no Node: it runs on pages too. */
function valueText(value: unknown, depth: number): string {
  if (typeof value === 'string') return `'${value}'`;
  if (typeof value === 'function') return '[function]';
  if (typeof value !== 'object' || value === null) return Object.is(value, -0) ? '-0' : String(value);
  if (ArrayBuffer.isView(value)) return value.constructor.name;
  if (depth > 1) return `[${value.constructor?.name ?? 'Object'}]`;
  if (Array.isArray(value)) {
    const items: readonly unknown[] = value.slice(0, maxShown);
    return items.length === 0 ? '[]' : `[ ${items.map((item) => valueText(item, depth + 1)).join(', ')} ]`;
  }
  const fields = Object.entries(value).slice(0, maxShown);
  const pairs = fields.map(([name, field]) => `${name}: ${valueText(field, depth + 1)}`);
  return pairs.length === 0 ? '{}' : `{ ${pairs.join(', ')} }`;
}
