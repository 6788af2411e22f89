import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { mergeOptionTable } from '../../src/options/merge-option-table.js';
import { optionSpecs } from '../../src/options/option.js';
import { readOptionText } from '../../src/options/read-option-text.js';
import { readQuantity, readRatio } from '../../src/options/read-quantity.js';

describe('a number with a unit', () => {
  it.each([
    ['0.05', 'mm', 0.05],
    ['0.05mm', 'mm', 0.05],
    [' 5 mm ', 'mm', 5],
    ['5MM', 'mm', 5],
    ['0.05 millimetres', 'mm', 0.05],
    ['1 millimeter', 'mm', 1],
    ['50 µm', 'mm', 0.05],
    ['50 μm', 'mm', 0.05],
    ['50um', 'mm', 0.05],
    ['2 cm', 'mm', 20],
    ['3.9 µm', 'µm', 3.9],
    ['0.0039 mm', 'µm', 3.9],
    ['1/60 s', 's', 1 / 60],
    ['1/3', 'stops', 1 / 3],
    ['-2/3 EV', 'stops', -2 / 3],
    ['+1 stop', 'stops', 1],
    ['1.2km', 'm', 1200],
    ['1/60', 's', 1 / 60],
    ['1 / 60 sec', 's', 1 / 60],
    ['30s', 's', 30],
    ['2 min', 's', 120],
    ['250 ms', 's', 0.25],
    ['2 GB', 'MB', 2000],
    ['800MB', 'MB', 800],
    ['24 MP', 'megapixels', 24],
    ['40 px', 'px', 40],
    ['30%', 'percent', 30],
    ['1e-3 mm', 'mm', 0.001],
    ['1e3', 'mm', 1000],
    ['-1.5mm', 'mm', -1.5],
    ['1/20 mm', 'mm', 0.05],
    ['1/20', 'mm', 0.05],
    ['1/20 mm', 'µm', 50],
    ['0,05', 'mm', 0.05],
    ['0,05 mm', 'mm', 0.05],
    [',5 mm', 'mm', 0.5],
    ['12,25', 'mm', 12.25],
    ['0,500', 'mm', 0.5],
    ['1500,250', 'mm', 1500.25],
  ])('%j of an option in %s is %d', (text, unit, value) => {
    expect(readQuantity(text, unit)).toBe(value);
  });

  it.each([
    ['5 s', 'mm'],
    ['5 kg', 'mm'],
    ['5 inch', 'mm'],
    ['5 mm', 's'],
    ['5 mm', undefined],
    ['mm', 'mm'],
    ['', 'mm'],
    ['5 mm 3', 'mm'],
    ['5 constructor', 'mm'],
    ['0x10', 'mm'],
    ['1,500', 'mm'],
    ['24,000,000', 'mm'],
    ['1,5,2', 'mm'],
    ['1/20', undefined],
    ['1/0 s', 's'],
  ])('%j of an option in %s is none', (text, unit) => {
    expect(readQuantity(text, unit)).toBeUndefined();
  });

  it('is the same whatever unit of its kind it is written in', () => {
    const units = { nm: 1e6, um: 1e3, mm: 1, cm: 0.1, m: 1e-3 };
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 99_999 }), fc.constantFrom(...Object.keys(units)), (mm, unit) => {
        const text = `${Number((mm * units[unit as keyof typeof units]).toPrecision(12))} ${unit}`;
        expect(readQuantity(text, 'mm')).toBeCloseTo(mm, 6);
      }),
    );
  });

  it('is understood by every option of a merge that has a unit', () => {
    const withUnit = optionSpecs(mergeOptionTable).filter(([, { kind }]) => kind.unit !== undefined);
    expect(withUnit.length).toBeGreaterThan(4);
    for (const [field, { kind }] of withUnit) {
      expect([field, readOptionText(kind, `300 ${kind.unit}`)]).toEqual([field, 300]);
      expect([field, readOptionText(kind, '300 kg')]).toEqual([field, '300 kg']);
    }
  });
});

it.each([
  ['2.5', 2.5],
  ['2.5x', 2.5],
  ['2.5 ×', 2.5],
  ['1:2', 0.5],
  ['1/2', 0.5],
  ['2,5x', 2.5],
])('the ratio %s is %d', (text, value) => {
  expect(readRatio(text)).toBe(value);
});
