import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { describeFailure } from '../../src/cli/failure.js';
import { UsageError } from '../../src/errors.js';
import { mergeOptionTable } from '../../src/options/merge-option-table.js';
import type { MergeOptions } from '../../src/options/merge-options.js';
import { optionSpecs } from '../../src/options/option.js';
import { resolveOptions } from '../../src/options/resolve-merge-options.js';

type Given = Parameters<typeof resolveOptions>[0];

/** The message with which options are refused; fails the test when they are not, or not as a usage error. */
function refusal(given: unknown, naming: 'field' | 'flag' = 'field'): string {
  try {
    resolveOptions(given as Given);
  } catch (error) {
    expect(error).toBeInstanceOf(UsageError);
    expect(error).toHaveProperty('exitCode', 2);
    return naming === 'field' ? (error as UsageError).message : describeFailure(error).message;
  }
  return expect.fail(`accepted ${JSON.stringify(given)}`);
}

const validOptions: fc.Arbitrary<Partial<MergeOptions>> = fc.record(
  {
    rule: fc.constantFrom('auto', 'select', 'weigh'),
    anchor: fc.constantFrom<MergeOptions['anchor']>('first', 'middle', 'last', 7),
    crop: fc.constantFrom('common', 'anchor'),
    format: fc.constantFrom('tif', 'png'),
    bits: fc.constantFrom(8, 16),
    stepMm: fc.double({ min: 0.00001, max: 1000, noNaN: true }),
    direction: fc.constantFrom('auto', 'near-to-far', 'far-to-near'),
    fieldWidthMm: fc.double({ min: 0.001, max: 10_000, noNaN: true }),
    motion: fc.constantFrom('scale', 'similarity', 'shift', 'none'),
    frames: fc.tuple(fc.integer({ min: 1, max: 7 }), fc.integer({ min: 40, max: 400 })),
    skip: fc.array(fc.integer({ min: 8, max: 30 })),
    threads: fc.integer({ min: 1, max: 256 }),
    memoryMb: fc.integer({ min: 256, max: 100_000 }),
    overwrite: fc.boolean(),
    strict: fc.boolean(),
  },
  { requiredKeys: [] },
);

describe('defaults', () => {
  it('are those that the options declare', () => {
    const { threads, ...rest } = resolveOptions({});
    expect(rest).toEqual({
      rule: 'auto',
      anchor: 'middle',
      device: 'auto',
      crop: 'common',
      format: 'tif',
      direction: 'auto',
      motion: 'scale',
      maxMegapixels: 250,
      skip: [],
      whiteBalance: 'camera',
      exposureStops: 0,
      colourSpace: 'srgb',
      overwrite: false,
      strict: false,
    });
    expect(Number.isInteger(threads) && threads >= 1 && threads <= 256).toBe(true);
  });

  it('stand in for undefined, but not for null', () => {
    expect(resolveOptions({ rule: undefined } as unknown as Given).rule).toBe('auto');
    expect(refusal({ rule: null })).toBe('Expected auto, select or weigh for rule but received null');
  });

  it('are not shared between calls', () => {
    resolveOptions({}).skip.push(3);
    expect(resolveOptions({}).skip).toEqual([]);
  });
});

describe('valid options', () => {
  it('pass unchanged, but for the order and repeats of skip', () => {
    fc.assert(
      fc.property(validOptions, (given) => {
        const resolved = resolveOptions(given);
        const { skip, ...others } = given;
        expect(resolved).toMatchObject(others);
        expect(new Set(resolved.skip)).toEqual(new Set(skip ?? []));
        expect(resolved.skip).toEqual([...new Set(resolved.skip)].sort((a, b) => a - b));
      }),
    );
  });

  it('resolve to the same when resolved again, and are not changed themselves', () => {
    fc.assert(
      fc.property(validOptions, (given) => {
        const before = structuredClone(given);
        const once = resolveOptions(given);
        expect(resolveOptions(once)).toEqual(once);
        expect(given).toEqual(before);
      }),
    );
  });

  it('may rise or fall in position', () => {
    expect(resolveOptions({ positionsMm: [0, 0.5, 1.75] }).positionsMm).toEqual([0, 0.5, 1.75]);
    expect(resolveOptions({ positionsMm: [3, 2.5, -1] }).positionsMm).toEqual([3, 2.5, -1]);
  });

  it('may come with the place of the result, which is no option of the merge', () => {
    expect(resolveOptions({ out: 'somewhere' })).not.toHaveProperty('out');
  });
});

describe('bad values', () => {
  const numbers = optionSpecs(mergeOptionTable).filter(([, { kind }]) => kind.isRangeInHelp);

  it('are refused for every number: NaN, infinite, negative, zero, beyond the range, text', () => {
    expect(numbers.length).toBeGreaterThan(4);
    for (const [field, { kind }] of numbers) {
      for (const value of [Number.NaN, Infinity, -Infinity, -1, 0, 1e12, '5', true, [], {}]) {
        // Stops of exposure go below zero.
        if (field === 'exposureStops' && (value === -1 || value === 0)) continue;
        const message = refusal({ [field]: value });
        expect(message).toContain(`Expected ${kind.range} for ${field} but received `);
      }
    }
  });

  it.each([
    [{ stepMm: 0 }, 'Expected a number from 0.00001 to 1000 mm for stepMm but received 0'],
    [{ stepMm: 1001 }, 'Expected a number from 0.00001 to 1000 mm for stepMm but received 1001'],
    [{ stepMm: Number.NaN }, 'Expected a number from 0.00001 to 1000 mm for stepMm but received NaN'],
    [{ threads: 257 }, 'Expected a whole number from 1 to 256 for threads but received 257'],
    [{ threads: 1.5 }, 'Expected a whole number from 1 to 256 for threads but received 1.5'],
    [{ memoryMb: 255 }, 'Expected a number from 256 to 1048576 MB for memoryMb but received 255'],
    [{ rule: 'best' }, 'Expected auto, select or weigh for rule but received best'],
    [{ rule: '' }, 'Expected auto, select or weigh for rule but received an empty text'],
    [{ bits: 12 }, 'Expected 8 or 16 for bits but received 12'],
    [{ bits: '8' }, 'Expected 8 or 16 for bits but received 8'],
    [
      { whiteBalance: [2, 1] },
      'Expected camera, daylight or factors of red, green and blue from 0.05 to 20, such as 2.1,1,1.6, for whiteBalance but received 2,1',
    ],
    [{ strict: 'yes' }, 'Expected true or false for strict but received yes'],
    [
      { anchor: 0 },
      'Expected first, middle, last or a frame number from 1 to 100000 for anchor but received 0',
    ],
    [
      { frames: [80, 5] },
      'Expected two frame numbers from 1, the lower first, such as 5-80, for frames but received 80-5',
    ],
    [
      { skip: [3, 0] },
      'Expected frame numbers from 1 with commas between, such as 12,31 or 1-4,31, for skip but received 3,0',
    ],
  ])('%j is refused in the words of the formula', (given, message) => {
    expect(refusal(given)).toBe(message);
  });

  it.each([[[5, 5]], [[1]], [[1, 2, 3]], [[1.5, 4]], [[Number.NaN, 4]], [[-3, 4]], ['5-80']])(
    'frames %j are no range',
    (frames) => {
      expect(refusal({ frames })).toContain('for frames but received ');
    },
  );

  it('in positions are named with their frame', () => {
    const range =
      'Expected two or more positions in mm from -10000 to 10000, all rising or all falling, for positionsMm';
    expect(refusal({ positionsMm: [0, 1, 1] })).toBe(`${range} but received 1 after 1 (frame 3)`);
    expect(refusal({ positionsMm: [0, 1, 0.5, 2] })).toBe(`${range} but received 0.5 after 1 (frame 3)`);
    expect(refusal({ positionsMm: [3, 2, Number.NaN] })).toBe(`${range} but received NaN after 2 (frame 3)`);
    expect(refusal({ positionsMm: [0, 20_000] })).toBe(`${range} but received 20000 after 0 (frame 2)`);
    expect(refusal({ positionsMm: [1] })).toBe(`${range} but received [ 1 ]`);
  });

  it('are shown shortened when they are long', () => {
    expect(refusal({ rule: 'x'.repeat(5000) }).length).toBeLessThan(200);
  });

  it('name the flag when they came from the command line', () => {
    expect(refusal({ pixelPitchUm: 0, magnification: 1 }, 'flag')).toBe(
      'Expected a number from 0.1 to 100 µm for --pixel-pitch but received 0',
    );
  });

  it('include options that do not exist', () => {
    expect(refusal({ ruel: 'auto' })).toMatch(/^Expected one of rule, anchor, .* but received ruel$/);
  });

  it('never end in any other error than a usage error', () => {
    fc.assert(
      fc.property(fc.constantFrom(...Object.keys(mergeOptionTable)), fc.anything(), (key, value) => {
        try {
          resolveOptions({ [key]: value } as Given);
        } catch (error) {
          expect(error).toBeInstanceOf(UsageError);
        }
      }),
    );
  });
});

describe('options that contradict each other', () => {
  it.each([
    [
      { stepMm: 1, positionsMm: [0, 1] },
      'Expected --step or --positions but received both: keep one of them.',
    ],
    [
      { fieldWidthMm: 10, magnification: 2, pixelPitchUm: 4 },
      'Expected --field-width or --magnification but received both: keep one of them.',
    ],
    [
      { fieldWidthMm: 10, pixelPitchUm: 4 },
      'Expected --field-width or --pixel-pitch but received both: keep one of them.',
    ],
    [{ magnification: 2 }, 'Expected --pixel-pitch beside --magnification but received only the latter.'],
    [{ pixelPitchUm: 4 }, 'Expected --magnification beside --pixel-pitch but received only the latter.'],
    [{ format: 'jpg', bits: 16 }, 'Expected 8, the most that jpg holds, for --bits but received 16'],
    [{ frames: [5, 80], anchor: 4 }, 'Expected a frame within --frames 5-80 for --anchor but received 4'],
    [{ skip: [4], anchor: 4 }, 'Expected a frame that --skip keeps for --anchor but received 4'],
    [
      { frames: [5, 7], skip: [6, 7, 90] },
      'Expected two frames at least to remain of 5-7 for --skip but received 6,7,90',
    ],
  ])('%j', (given, message) => {
    expect(refusal(given, 'flag')).toBe(message);
  });

  it('does not touch those that agree', () => {
    expect(resolveOptions({ magnification: 2, pixelPitchUm: 4, stepMm: 0.1 })).toMatchObject({
      magnification: 2,
      pixelPitchUm: 4,
    });
    expect(resolveOptions({ format: 'jpg', bits: 8, anchor: 5, frames: [5, 6], skip: [90] }).anchor).toBe(5);
  });
});
