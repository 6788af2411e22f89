import { maxFrameNumber, type OptionSpec } from './merge-option-table.js';
import { readNumber } from './read-number.js';
import { readQuantity, readRatio } from './read-quantity.js';

/**
 * The value of an option in a file of options, where a text stands for the same as behind its flag, and a position may be
 * such a text too. Anything else is returned as it is.
 */
export function readOptionValue(spec: OptionSpec, value: unknown): unknown {
  if (typeof value === 'string' && spec.kind.type !== 'switch') return readOptionText(spec, value);
  if (spec.kind.type !== 'positions' || !Array.isArray(value)) return value;
  return value.map((position) =>
    typeof position === 'string' ? (readQuantity(position, spec.unit) ?? position) : position,
  );
}

/**
 * The value that a text stands for, of a flag or in a file of options. A text that stands for none is returned as it is, so that
 * `resolveOptions` refuses it in the same words as any other bad value.
 */
export function readOptionText(spec: OptionSpec, text: string): unknown {
  const { kind } = spec;
  switch (kind.type) {
    case 'choice':
      return kind.values.find((value) => String(value) === text) ?? text;
    case 'number':
      return (spec.key === 'magnification' ? readRatio(text) : readQuantity(text, spec.unit)) ?? text;
    case 'anchor':
      return readNumber(text) ?? text;
    case 'frameRange': {
      const [, first, last] = /^(\d+)-(\d+)$/.exec(text) ?? [];
      return first === undefined ? text : [Number(first), Number(last)];
    }
    case 'frameList':
      return readFrameList(text) ?? text;
    case 'positions':
    case 'switch':
      return text;
  }
}

/** "12,31" or "1-78,90"; undefined when it is neither. */
function readFrameList(text: string): number[] | undefined {
  const numbers: number[] = [];
  for (const part of text.split(/ *, */)) {
    const [, first, last = first] = /^(\d+)(?:-(\d+))?$/.exec(part) ?? [];
    if (first === undefined || Number(last) < Number(first) || Number(last) > maxFrameNumber)
      return undefined;
    for (let number = Number(first); number <= Number(last); number++) numbers.push(number);
  }
  return numbers;
}
