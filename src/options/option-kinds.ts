import { showValue } from '../option-error.js';
import type { OptionKind } from './option.js';
import { readFNumber, readQuantity, readRatio } from './read-quantity.js';

/** What stands for a quantity of a unit in help. */
const unitNames: Readonly<Record<string, string>> = {
  ...{ mm: 'MM', µm: 'UM', nm: 'NM', m: 'M', px: 'PX' },
  ...{ s: 'S', MB: 'MB', megapixels: 'MP', percent: 'PERCENT', stops: 'STOPS' },
};

/** A number from `min` to `max`; on the command line it may stand in another unit of the same kind. */
export function number(min: number, max: number, unit?: string): OptionKind<number> {
  return {
    range: `a number from ${min} to ${max}${unit === undefined ? '' : ` ${unit}`}`,
    isValid: (value): value is number => isWithin(value, min, max),
    read: (text) => readQuantity(text, unit),
    ...(unit !== undefined && { unit }),
    valueName: unitNames[unit ?? ''] ?? 'N',
    isRangeInHelp: true,
  };
}

export function whole(min: number, max: number): OptionKind<number> {
  return {
    ...number(min, max),
    range: `a whole number from ${min} to ${max}`,
    isValid: (value): value is number => Number.isInteger(value) && isWithin(value, min, max),
  };
}

/** A number that may be written as photographers write ratios: 1:2, 2.5x. */
export function ratio(min: number, max: number): OptionKind<number> {
  return { ...number(min, max), read: readRatio, valueName: 'M' };
}

/** An f-number, which may be written f/8. */
export function fNumber(min: number, max: number): OptionKind<number> {
  return { ...number(min, max), read: readFNumber };
}

/** A length, or without a unit a ratio, that may be infinite. */
export function orInfinity(kind: OptionKind<number>): OptionKind<number | 'infinity'> {
  return {
    range: `infinity or ${kind.range}`,
    isValid: (value): value is number | 'infinity' => value === 'infinity' || kind.isValid(value),
    read: (text) => (/^\s*(inf|infinity|∞)\s*$/i.test(text) ? 'infinity' : kind.read?.(text)),
    valueName: `${kind.valueName}|infinity`,
  };
}

export function choice<const Value extends string | number>(...values: Value[]): OptionKind<Value> {
  return {
    range: listWords(values.map(String)),
    isValid: (value): value is Value => values.some((allowed) => allowed === value),
    read: (text) => values.find((value) => String(value) === text),
    valueName: values.join('|'),
  };
}

/** Set or, by default, not; a flag that takes no value. */
export const toggle: OptionKind<boolean> = {
  range: 'true or false',
  isValid: (value) => typeof value === 'boolean',
  unset: false,
};

/** A text that `pattern` describes, in words by `range`. */
export function text(range: string, pattern: RegExp, valueName: string): OptionKind<string> {
  return {
    range,
    isValid: (value): value is string => typeof value === 'string' && pattern.test(value),
    read: (given) => given,
    valueName,
  };
}

/** What computes: the processor, or a graphics processor by its number. */
export const device: OptionKind<'auto' | 'cpu' | 'gpu' | `gpu:${number}`> = {
  range: 'auto, cpu, gpu or gpu:N, N a number that the command devices lists',
  isValid: (value): value is 'auto' => typeof value === 'string' && /^(auto|cpu|gpu(:\d{1,3})?)$/.test(value),
  read: (given) => given,
  valueName: 'auto|cpu|gpu[:N]',
};

/** The path of a folder, that need not be there. */
export function folderPath(valueName = 'FOLDER'): OptionKind<string> {
  return text('the path of a folder', /./s, valueName);
}

/** A file name with one of some endings, such as '.html'. */
export function fileName(valueName: string, ...endings: string[]): OptionKind<string> {
  const ending = endings.map((one) => one.replace('.', '\\.')).join('|');
  // What is nothing but an ending is a hidden file.
  const pattern = new RegExp(`[^/\\\\](${ending})$`, 'i');
  return text(`a file name that ends in ${listWords(endings)}`, pattern, valueName);
}

/** An option that may be given several times, each time with a value of `kind`. */
export function several<Value>(kind: OptionKind<Value>): OptionKind<Value[]> {
  return {
    ...kind,
    isValid: (value): value is Value[] => Array.isArray(value) && value.every(kind.isValid),
    show: (value) => {
      const fault = Array.isArray(value) ? value.find((one) => !kind.isValid(one)) : value;
      return kind.show?.(fault) ?? showValue(fault);
    },
    isRepeatable: true,
    unset: [],
  };
}

/** Whether a value is a number from `min` to `max`. */
export function isWithin(value: unknown, min: number, max: number): value is number {
  return typeof value === 'number' && value >= min && value <= max;
}

function listWords(words: string[]): string {
  return words.length < 2 ? words.join('') : `${words.slice(0, -1).join(', ')} or ${words.at(-1)}`;
}
