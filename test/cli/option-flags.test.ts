import { Command } from 'commander';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { addFlags, flagsOf } from '../../src/cli/option-flags.js';
import { mergeOptionTable } from '../../src/options/merge-option-table.js';
import { optionSpecs } from '../../src/options/option.js';
import { optionFlag } from '../../src/options/option-flag.js';
import { readNumber } from '../../src/options/read-number.js';

function given(...args: string[]): object {
  const command = new Command().exitOverride();
  addFlags(command, mergeOptionTable).parse(args, { from: 'user' });
  return flagsOf(mergeOptionTable, command.opts());
}

describe('flags', () => {
  it('turn into the options that they name, and only into those', () => {
    expect(given()).toEqual({});
    expect(
      given(
        ...['--rule', 'weigh', '--anchor', '12', '--crop', 'common', '--bits', '16', '--format', 'png'],
        ...[
          '--step',
          '0.05',
          '--direction',
          'far-to-near',
          '--field-width',
          '12.5',
          '--magnification',
          '2',
          '--pixel-pitch',
          '4.3',
        ],
        ...['--motion', 'none', '--frames', '5-80', '--skip', '12,31', '--threads', '3', '--memory', '2000'],
        ...['--strict', '--overwrite'],
      ),
    ).toEqual({
      ...{ rule: 'weigh', anchor: 12, crop: 'common', bits: 16, format: 'png' },
      ...{ stepMm: 0.05, direction: 'far-to-near', fieldWidthMm: 12.5, magnification: 2, pixelPitchUm: 4.3 },
      ...{ motion: 'none', frames: [5, 80], skip: [12, 31], threads: 3, memoryMb: 2000 },
      ...{ strict: true, overwrite: true },
    });
    expect(given('--anchor', 'last', '--skip', '7')).toEqual({ anchor: 'last', skip: [7] });
    expect(given('--skip', '1-3, 9,11-12')).toEqual({ skip: [1, 2, 3, 9, 11, 12] });
    for (const text of ['3-1', '1-', '-2', '1-999999999', '1 2'])
      expect(given('--skip', text)).toEqual({ skip: text });
  });

  it('keep a text that stands for no value, so that it is refused by what the user typed', () => {
    expect(
      given('--bits', '12', '--step', '-0x5', '--frames', '5:80', '--skip', '1,,2', '--threads', ''),
    ).toEqual({ bits: '12', stepMm: '-0x5', frames: '5:80', skip: '1,,2', threads: '' });
  });

  it('exist for every option, each once', () => {
    const command = addFlags(new Command(), mergeOptionTable);
    const flags = command.options.map((option) => option.long);
    expect(flags).toEqual(Object.keys(mergeOptionTable).map((field) => optionFlag(field)));
    expect(new Set(flags).size).toBe(flags.length);
  });

  it('show their range, unit and default in the help', () => {
    const command = addFlags(new Command().configureHelp({ helpWidth: 1000 }), mergeOptionTable);
    const help = command.helpInformation();
    expect(help).toMatch(
      /--step <MM> .*\(a number from 0\.00001 to 1000 mm; default: unknown, so that depth is in steps\)/,
    );
    expect(help).toMatch(/--threads <N> .*\(a whole number from 1 to 256; default: one a core\)/);
    expect(help).toMatch(/--rule <auto\|select\|weigh> .*\(default: auto\)/);
    for (const [, spec] of optionSpecs(mergeOptionTable)) expect(help).toContain(spec.help);
  });
});

describe('numbers', () => {
  it('read back as written, in any notation of JavaScript', () => {
    fc.assert(
      fc.property(fc.double({ noNaN: true, noDefaultInfinity: true }), (value) => {
        expect(readNumber(String(value))).toBe(value + 0);
        expect(readNumber(value.toExponential())).toBe(Number(value.toExponential()));
      }),
    );
  });

  it.each(['', ' ', '0x10', '1,500', '1_000', 'NaN', 'Infinity', '1e999', '5mm', '.', 'e5', '--1'])(
    'do not include %j',
    (text) => {
      expect(readNumber(text)).toBeUndefined();
    },
  );
});
