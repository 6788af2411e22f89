import { type Command, Option } from 'commander';
import { describeRange, mergeOptionTable, type OptionSpec } from '../options/merge-option-table.js';
import type { MergeOptions } from '../options/merge-options.js';
import { readOptionText } from '../options/read-option-text.js';

/** Give `command` a flag for every option of a merge, or for those of `specs`, with range, unit and default in its help. */
export function addMergeFlags(command: Command, specs: readonly OptionSpec[] = mergeOptionTable): void {
  for (const spec of specs) {
    const option = new Option(flagText(spec), helpText(spec)).helpGroup(`${spec.group}:`);
    if (spec.kind.type !== 'switch') option.argParser((text: string) => readOptionText(spec, text));
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
