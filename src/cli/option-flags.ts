import { type Command, Option } from 'commander';
import { type OptionSpec, type OptionTable, optionSpecs } from '../options/option.js';
import { optionFlag } from '../options/option-flag.js';
import { readOptionText } from '../options/read-option-text.js';
import { validateOptions, withDefaults } from '../options/validate-options.js';

/** A flag that commander records under the field of its option. */
class FieldFlag extends Option {
  constructor(
    flags: string,
    help: string,
    private readonly field: string,
  ) {
    super(flags, help);
  }

  override attributeName(): string {
    return this.field;
  }
}

/**
 * Give `command` a flag for every option of a table, with range, unit and default in its help. Commander then records
 * what was given by the fields of the options.
 */
export function addFlags<Options>(command: Command, table: OptionTable<Options>): Command {
  for (const [field, spec] of optionSpecs(table)) {
    const flag = new FieldFlag(flagText(field, spec), helpText(spec), field);
    flag.makeOptionMandatory(spec.isRequired === true);
    if (spec.group !== undefined) flag.helpGroup(`${spec.group}:`);
    if (spec.kind.read) {
      flag.argParser<unknown>((text, before) => {
        const value = readOptionText(spec.kind, text);
        return spec.kind.isRepeatable ? [...(Array.isArray(before) ? before : []), value] : value;
      });
    }
    command.addOption(flag);
  }
  return command;
}

/** Of what a command line gives, the options of a table, yet to be checked. */
export function flagsOf<Options>(
  table: OptionTable<Options>,
  given: Record<string, unknown>,
): Partial<Options> {
  const own = Object.entries(given).filter(([field]) => field in table);
  // A text that stands for no value is among them: whoever takes them refuses it.
  return Object.fromEntries(own) as Partial<Options>;
}

/**
 * Of what a command line gives, the options of a table, checked and with their defaults.
 *
 * @throws UsageError.
 */
export function readFlags<Options>(table: OptionTable<Options>, given: Record<string, unknown>): Options {
  return withDefaults(table, validateOptions(table, flagsOf(table, given)));
}

function flagText(
  field: string,
  { kind, valueName = kind.valueName ?? 'VALUE', ...spec }: OptionSpec,
): string {
  return kind.read ? `${optionFlag(field, spec)} <${valueName}>` : optionFlag(field, spec);
}

function helpText({ kind, help, default: preset, defaultText }: OptionSpec): string {
  const isPlain = typeof preset === 'number' || typeof preset === 'string';
  const standard = defaultText ?? (isPlain ? String(preset) : undefined);
  const facts: string[] = [];
  if (kind.isRangeInHelp) facts.push(kind.range);
  if (standard !== undefined) facts.push(`default: ${standard}`);
  return facts.length === 0 ? help : `${help} (${facts.join('; ')})`;
}
