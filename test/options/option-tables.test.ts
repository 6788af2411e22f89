import { describe, expect, it } from 'vitest';
import { batchOptionTable, resolveBatch } from '../../src/batch/batch-options.js';
import { checkOptionTable, resolveCheckOptions } from '../../src/check/check-options.js';
import { mergeOptionTable } from '../../src/options/merge-option-table.js';
import { optionSpecs } from '../../src/options/option.js';
import { several, whole } from '../../src/options/option-kinds.js';
import { validateOptions } from '../../src/options/validate-options.js';
import { planOptionTable } from '../../src/plan/option-table.js';

const tables = { batchOptionTable, checkOptionTable, mergeOptionTable, planOptionTable };

describe.each(Object.entries(tables))('%s', (_name, table) => {
  it('has defaults that its own kinds take', () => {
    for (const [field, { kind, default: preset }] of optionSpecs(table)) {
      if (preset === undefined) continue;
      const value: unknown = typeof preset === 'function' ? preset() : preset;
      expect(kind.isValid(value), field).toBe(true);
    }
  });

  it('refuses by the range that the help states', () => {
    for (const [field, { kind }] of optionSpecs(table)) {
      const strange = { [field]: Symbol.iterator };
      expect(() => validateOptions(table as typeof planOptionTable, strange)).toThrow(
        `Expected ${kind.range} for ${field} but received Symbol(Symbol.iterator)`,
      );
    }
  });

  it('refuses fields that it does not have', () => {
    expect(() => validateOptions(table as typeof planOptionTable, { stepsMm: 1 } as object)).toThrow(
      /^Expected one of \w+, .* for an option but received stepsMm$/,
    );
  });
});

it('a list of values is refused by the one that is wrong', () => {
  const table = { ports: { kind: several(whole(1, 9)), help: 'ports' } };
  expect(() => validateOptions(table, { ports: [3, 10, 4] })).toThrow(
    'Expected a whole number from 1 to 9 for ports but received 10',
  );
  expect(validateOptions(table, { ports: [3, 4] })).toEqual({ ports: [3, 4] });
});

it('a batch refuses fields that it does not have, and what is no switch', () => {
  expect(() => resolveBatch('week', { splitGap: 5 } as never)).toThrow('received splitGap');
  expect(() => resolveBatch('week', { watch: 'no' } as never)).toThrow(
    'Expected true or false for watch but received no',
  );
});

it('a check takes all options of the merge to come, and passes over those that it has no use for', () => {
  const merge = { rule: 'auto', threads: 3, skip: [7, 2, 2], stepMm: 0.1 };
  expect(resolveCheckOptions(merge)).toEqual({
    ...{ skip: [2, 7], stepMm: 0.1, direction: 'auto', maxMegapixels: 250 },
  });
  expect(() => resolveCheckOptions({ stepMm: 1, positionsMm: [0, 1] })).toThrow('received both');
});
