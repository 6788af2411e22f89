import { type Command, Option } from 'commander';
import {
  describeRange,
  maxFrameNumber,
  mergeOptionTable,
  type OptionSpec,
} from '../options/merge-option-table.js';
import type { MergeOptions } from '../options/merge-options.js';
import { readNumber } from './read-number.js';
import { readQuantity, readRatio } from './read-quantity.js';

/** Give `command` a flag for every option of a merge, or for those of `specs`, with range, unit and default in its help. */
export function addMergeFlags(command: Command, specs: readonly OptionSpec[] = mergeOptionTable): void {
  for (const spec of specs) {
    const option = new Option(flagText(spec), helpText(spec)).helpGroup(`${spec.group}:`);
    if (spec.kind.type !== 'switch') option.argParser((text: string) => readFlag(spec, text));
    command.addOption(option);
  }
}

/** The options that were given, from commander's record, whose keys are the flags in camel case. */
export function givenMergeOptions(flags: Record<string, unknown>): Partial<MergeOptions> {
  const given: Record<string, unknown> = {};
  for (const spec of mergeOptionTable) {
    const value = flags[new Option(`--${spec.flag}`).attributeName()];
    if (value !== undefined) given[spec.key] = value;
  }
  return given;
}

/**
 * The value a flag's text stands for. A text that stands for none is returned as it is, so that
 * `resolveOptions` refuses it in the same words as any other bad value.
 */
export function readFlag(spec: OptionSpec, text: string): unknown {
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

function flagText(spec: OptionSpec): string {
  if (spec.kind.type === 'switch') return `--${spec.flag}`;
  const placeholder =
    spec.placeholder ?? (spec.kind.type === 'choice' ? spec.kind.values.join('|') : 'VALUE');
  return `--${spec.flag} <${placeholder}>`;
}

function helpText(spec: OptionSpec): string {
  const facts: string[] = [];
  if (spec.kind.type === 'number') facts.push(describeRange(spec));
  if (spec.defaultText !== undefined) facts.push(`default: ${spec.defaultText}`);
  return facts.length === 0 ? spec.help : `${spec.help} (${facts.join('; ')})`;
}
