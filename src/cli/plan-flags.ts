import { type Command, Option } from 'commander';
import {
  describePlanRange,
  type PlanOptionKind,
  type PlanOptionSpec,
  planOptionTable,
} from '../plan/option-table.js';
import type { PlanOptions } from '../plan/plan-options.js';
import { readNumber } from './read-number.js';

/** Give `command` a flag for every option of a plan, with range, unit and default in its help. */
export function addPlanFlags(command: Command): void {
  for (const spec of planOptionTable) {
    const option = new Option(flagText(spec), helpText(spec)).helpGroup(`${spec.group}:`);
    if (spec.kind.type !== 'switch') option.argParser((text: string) => readPlanFlag(spec.kind, text));
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
 * f-number, 1/60 for a time, 36x24 for a size. A text that stands for none is returned as it is, so that it
 * is refused in the same words as any other bad value.
 */
export function readPlanFlag(kind: PlanOptionKind, text: string): unknown {
  switch (kind.type) {
    case 'number':
      return readAs[kind.reads](text) ?? text;
    case 'numberOrInfinity':
      return text === 'inf' || text === '∞' ? 'infinity' : (readAs.ratio(text) ?? text);
    case 'sensor': {
      const sides = readSides(text);
      return sides ? { widthMm: sides[0], heightMm: sides[1] } : text;
    }
    case 'pixels': {
      const sides = readSides(text);
      if (sides) return { width: sides[0], height: sides[1] };
      const [, megapixels] = /^([\d.]+)\s*mp$/i.exec(text) ?? [];
      const count = megapixels === undefined ? undefined : readNumber(megapixels);
      return count === undefined ? (readNumber(text) ?? text) : count * 1e6;
    }
    case 'circle':
      return readNumber(text) ?? text;
    case 'choice':
    case 'switch':
      return text;
  }
}

const readAs = {
  decimal: readNumber,
  seconds: (text: string) => readQuotient(text, '/') ?? readNumber(text),
  ratio: (text: string) =>
    readQuotient(text, ':') ?? readQuotient(text, '/') ?? readNumber(text.replace(/x$/i, '')),
  fNumber: (text: string) => readNumber(text.replace(/^f\/?/i, '')),
} satisfies Record<string, (text: string) => number | undefined>;

function readQuotient(text: string, sign: string): number | undefined {
  const parts = text.split(sign).map(readNumber);
  if (parts.length !== 2 || parts[0] === undefined || !parts[1]) return undefined;
  return parts[0] / parts[1];
}

function readSides(text: string): [number, number] | undefined {
  const sides = text
    .replace(/\s*mm$/i, '')
    .split(/\s*[x×*]\s*/i)
    .map(readNumber);
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
