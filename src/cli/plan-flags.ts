import { type Command, Option } from 'commander';
import { readNumber } from '../options/read-number.js';
import { readFNumber, readQuantity, readRatio } from '../options/read-quantity.js';
import { describePlanRange, type PlanOptionSpec, planOptionTable } from '../plan/option-table.js';
import type { PlanOptions } from '../plan/plan-options.js';

/** Give `command` a flag for every option of a plan, or for those of `specs`, with range, unit and default in its help. */
export function addPlanFlags(command: Command, specs: readonly PlanOptionSpec[] = planOptionTable): void {
  for (const spec of specs) {
    const option = new Option(flagText(spec), helpText(spec)).helpGroup(`${spec.group}:`);
    if (spec.kind.type !== 'switch') option.argParser((text: string) => readPlanFlag(spec, text));
    command.addOption(option);
  }
}

/** The options that were given, from commander's record, whose keys are the flags in camel case. */
export function givenPlanOptions(flags: Record<string, unknown>): Partial<PlanOptions> {
  const given: Record<string, unknown> = {};
  for (const spec of planOptionTable) {
    const value = flags[new Option(`--${spec.flag}`).attributeName()];
    if (value !== undefined) given[spec.key] = value;
  }
  return given;
}

/**
 * The value a flag's text stands for, in the ways photographers write it: 1:2 and 2x for a ratio, f/8 for an
 * f-number, 1/60 s for a time, 36x24 mm for a size, 0.05mm for a length. A text that stands for none is returned as it is, so that it
 * is refused in the same words as any other bad value.
 */
export function readPlanFlag({ kind, unit }: ValueSpec, text: string): unknown {
  switch (kind.type) {
    case 'number':
      return readAs[kind.reads](text, unit) ?? text;
    case 'numberOrInfinity':
      if (/^\s*(inf|infinity|∞)\s*$/i.test(text)) return 'infinity';
      return (unit === undefined ? readRatio(text) : readQuantity(text, unit)) ?? text;
    case 'sensor': {
      const sides = readSides(text, 'mm');
      return sides ? { widthMm: sides[0], heightMm: sides[1] } : text;
    }
    case 'pixels': {
      const sides = readSides(text, 'px');
      if (sides) return { width: sides[0], height: sides[1] };
      const bare = readNumber(text);
      const megapixels = bare === undefined ? readQuantity(text, 'MP') : undefined;
      return megapixels === undefined ? (bare ?? text) : megapixels * 1e6;
    }
    case 'circle':
      return readQuantity(text, 'mm') ?? text;
    case 'choice':
    case 'switch':
      return text;
  }
}

type ValueSpec = Pick<PlanOptionSpec, 'kind' | 'unit'>;

const readAs: Record<'quantity' | 'ratio' | 'fNumber', (text: string, unit?: string) => number | undefined> =
  {
    quantity: readQuantity,
    ratio: readRatio,
    fNumber: readFNumber,
  };

/** Two lengths in mm, or two counts of pixels, with x between; the unit may stand behind the second or both. */
function readSides(text: string, unit: 'mm' | 'px'): [number, number] | undefined {
  const sides = text.split(/[x×*]/i).map((side) => readQuantity(side, unit));
  return sides.length === 2 && sides[0] !== undefined && sides[1] !== undefined
    ? [sides[0], sides[1]]
    : undefined;
}

function flagText(spec: PlanOptionSpec): string {
  if (spec.kind.type === 'switch') return `--${spec.flag}`;
  const placeholder =
    spec.placeholder ?? (spec.kind.type === 'choice' ? spec.kind.values.join('|') : 'VALUE');
  return `--${spec.flag} <${placeholder}>`;
}

function helpText(spec: PlanOptionSpec): string {
  const facts: string[] = [];
  if (spec.kind.type === 'number') facts.push(describePlanRange(spec));
  if (spec.defaultText !== undefined) facts.push(`default: ${spec.defaultText}`);
  return facts.length === 0 ? spec.help : `${spec.help} (${facts.join('; ')})`;
}
