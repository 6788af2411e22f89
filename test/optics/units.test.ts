import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { markedFNumbers, markedFNumberUpTo } from '../../src/optics/f-stops.js';
import { conventionalCircleMm, findSensorFormat, sensorFormats } from '../../src/optics/sensor-formats.js';
import { convertLength, stopDown, stopsBetween } from '../../src/optics/units.js';

describe('units', () => {
  it('convert there and back, and by any way', () => {
    const unit = fc.constantFrom('nm', 'um', 'mm', 'm');
    const length = fc.double({ min: 1e-6, max: 1e6, noNaN: true });
    fc.assert(
      fc.property(length, unit, unit, unit, (value, from, over, to) => {
        expect(convertLength(convertLength(value, from, to), to, from) / value).toBeCloseTo(1, 12);
        const direct = convertLength(value, from, to);
        expect(convertLength(convertLength(value, from, over), over, to) / direct).toBeCloseTo(1, 12);
      }),
    );
    expect(convertLength(550, 'nm', 'um')).toBeCloseTo(0.55, 12);
    expect(convertLength(1, 'm', 'mm')).toBeCloseTo(1000, 9);
  });

  it('of light: stops there and back; two stops are a doubled f-number', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 0.5, max: 64, noNaN: true }),
        fc.double({ min: -10, max: 10, noNaN: true }),
        (fNumber, stops) => {
          expect(stopsBetween(fNumber, stopDown(fNumber, stops))).toBeCloseTo(stops, 9);
        },
      ),
    );
    expect(stopsBetween(4, 8)).toBe(2);
  });
});

describe('f-numbers on lenses', () => {
  it('stand for thirds of a stop, and whole stops are those of ISO 517 (from memory)', () => {
    for (const [k, marked] of markedFNumbers.entries()) {
      expect(Math.abs(stopsBetween(2 ** (k / 6), marked))).toBeLessThan(1 / 6);
    }
    const whole = markedFNumbers.filter((_, k) => k % 3 === 0);
    expect(whole).toEqual([1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32, 45, 64]);
  });

  it('are found by what they stand for', () => {
    expect(markedFNumberUpTo(11.31)).toBe(10);
    expect(markedFNumberUpTo(11.32)).toBe(11);
    expect(markedFNumberUpTo(0.99)).toBeUndefined();
  });
});

describe('formats of sensors', () => {
  it.each([
    // Diagonals as several teaching pages print them.
    ['full-frame', 43.27],
    ['aps-c', 28.21],
    ['aps-c-22', 26.82],
    ['four-thirds', 21.64],
    ['one-inch', 15.86],
    ['medium-44x33', 54.78],
  ])('%s is %f mm across its diagonal', (name, diagonal) => {
    const found = findSensorFormat(name);
    expect(Math.hypot(found?.widthMm ?? 0, found?.heightMm ?? 0)).toBeCloseTo(diagonal, 1);
  });

  it('have the circles of tables: 0.030, 0.020, 0.018, 0.015, 0.011 mm, all near diagonal / 1500', () => {
    const circles = ['full-frame', 'aps-c', 'aps-c-22', 'four-thirds', 'one-inch'].map(
      (name) => findSensorFormat(name)?.circleMm,
    );
    expect(circles).toEqual([0.03, 0.02, 0.018, 0.015, 0.011]);
    for (const { widthMm, heightMm, circleMm } of sensorFormats) {
      expect(Math.abs(circleMm / conventionalCircleMm(widthMm, heightMm) - 1)).toBeLessThan(0.07);
    }
  });

  it('are found by every name they go by, in any case', () => {
    const names = sensorFormats.flatMap((entry) => [entry.name, ...entry.aliases]);
    expect(new Set(names).size).toBe(names.length);
    for (const name of names) expect(findSensorFormat(name.toUpperCase())).toBeDefined();
    expect(findSensorFormat('Full Frame')?.name).toBe('full-frame');
    expect(findSensorFormat('film')).toBeUndefined();
  });
});
