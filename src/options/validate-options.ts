import { named, UsageError } from '../errors.js';
import { optionError, requireOptions, showValue } from '../option-error.js';
import { type Given, type OptionSpec, type OptionTable, optionSpecs } from './option.js';

/**
 * The options that are given, each checked against its declaration; those that are undefined are passed over.
 *
 * @throws UsageError, 'Expected RANGE for NAME but received VALUE'.
 */
export function validateOptions<Options>(
  table: OptionTable<Options>,
  given: Given<Options>,
): Partial<Options> {
  requireOptions(given);
  const specs = new Map(optionSpecs(table));
  for (const field of Object.keys(given)) {
    if (!specs.has(field)) {
      throw new UsageError(
        `Expected one of ${[...specs.keys()].join(', ')} for an option but received ${showValue(field)}`,
      );
    }
  }
  const values: Record<string, unknown> = { ...given };
  const valid: Record<string, unknown> = {};
  for (const [field, spec] of specs) {
    const value = values[field];
    if (value === undefined) continue;
    if (!spec.kind.isValid(value)) throw refusal(field, spec, value);
    valid[field] = value;
  }
  // Each field was checked against its kind.
  return valid as Partial<Options>;
}

/** Options that are valid, with defaults in the place of those that are absent, in the order of the table. */
export function withDefaults<Options>(table: OptionTable<Options>, valid: Partial<Options>): Options {
  const values: Record<string, unknown> = { ...valid };
  const complete: Record<string, unknown> = {};
  for (const [field, { kind, default: preset = kind.unset }] of optionSpecs(table)) {
    const value = values[field] ?? (typeof preset === 'function' ? preset() : preset);
    // A list that is handed out may be changed: not the one of the declaration.
    if (value !== undefined) complete[field] = Array.isArray(value) ? [...value] : value;
  }
  // A field without a default is one that may be absent.
  return complete as Options;
}

/** Refuses two options of which one takes the place of the other. */
export function refuseBoth<Options>(
  given: Given<Options>,
  first: keyof Options & string,
  second: keyof Options & string,
): void {
  if (given[first] === undefined || given[second] === undefined) return;
  throw new UsageError(`Expected ${named(first)} or ${named(second)} but received both: keep one of them.`);
}

/** Refuses an option that means nothing without another. */
export function requireBeside<Options>(
  given: Given<Options>,
  needed: keyof Options & string,
  present: keyof Options & string,
): void {
  if (given[present] === undefined || given[needed] !== undefined) return;
  throw new UsageError(`Expected ${named(needed)} beside ${named(present)} but received only the latter.`);
}

function refusal(field: string, { kind, reason }: OptionSpec, value: unknown): UsageError {
  return optionError(field, kind.range, value, {
    ...(kind.show && { shown: kind.show(value) }),
    ...(reason !== undefined && { why: reason }),
  });
}
