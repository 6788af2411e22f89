import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  effectiveFNumber,
  effectiveFNumberOfNa,
  extendedMagnification,
  imageDistanceMm,
  markedFNumber,
  numericalAperture,
  subjectDistanceMm,
} from '../../src/optics/close-up.js';
import { stopsBetween } from '../../src/optics/units.js';

describe('magnification on tubes', () => {
  it.each([
    // W. Claff 2007: a macro lens of 242.9 mm at 0.27 x, with 68 mm of tubes.
    { own: 0.27, extension: 68, focal: 242.9, expected: 0.55 },
    // Manual of a 55 mm lens that goes to 1:2 alone: 27.5 mm of tube to 1:1.
    { own: 0.5, extension: 27.5, focal: 55, expected: 1 },
    // Manual of an 82 mm bellows lens: 123 mm to 2 x from 0.5 x.
    { own: 0.5, extension: 123, focal: 82, expected: 2 },
    // Exposure factors of medium-format tubes (dustynegatives.org, 1998): 8 and 16 mm on 80 mm.
    { own: 0, extension: 8, focal: 80, expected: 0.1 },
    { own: 0, extension: 16, focal: 80, expected: 0.2 },
  ])('of $extension mm on $focal mm from $own x is $expected x', ({ own, extension, focal, expected }) => {
    expect(extendedMagnification(own, extension, focal)).toBeCloseTo(expected, 2);
  });

  it('of 25 mm on a 50 mm lens focused at 450 mm is 0.625 x, the subject at 130 mm', () => {
    // A worked example in a photographers' forum.
    const own = 50 / (450 - 50);
    const magnification = extendedMagnification(own, 25, 50);
    expect(magnification).toBeCloseTo(0.625, 6);
    expect(subjectDistanceMm(50, magnification)).toBeCloseTo(130, 6);
  });
});

describe('light lost on tubes', () => {
  it.each([
    // Table for a 50 mm lens at infinity (apug.org, post 1120504): tube, factor of time, stops.
    [10, 1.44, 0.53],
    [17, 1.8, 0.84],
    [31, 2.62, 1.39],
    [27, 2.37, 1.24],
    [41, 3.31, 1.73],
    [48, 3.84, 1.94],
    [58, 4.67, 2.22],
  ])('of %d mm on 50 mm lengthens the exposure %f times, %f stops', (tube, factor, stops) => {
    const effective = effectiveFNumber(8, extendedMagnification(0, tube, 50), 1);
    // The table cuts off its last digit here and there.
    expect(Math.abs((effective / 8) ** 2 - factor)).toBeLessThan(0.01);
    expect(Math.abs(stopsBetween(8, effective) - stops)).toBeLessThan(0.01);
  });

  it('of an 18 inch bellows on a 12 inch lens makes 18 s of 8 s (US Army photography course SS0512)', () => {
    const magnification = extendedMagnification(0, 18 - 12, 12);
    expect(8 * effectiveFNumber(1, magnification, 1) ** 2).toBeCloseTo(18, 6);
  });
});

describe('the effective f-number', () => {
  it.each([
    // Savazzi, Digital Photography for Science, spreadsheet table 1 (rounded to two digits): N, m, E.
    [1, 0.1, 1.1],
    [4, 0.5, 6],
    [2.8, 1, 5.6],
    [4, 2.5, 14],
    [2.8, 5, 17],
    [4, 10, 44],
    [2.8, 20, 59],
    [4, 40, 160],
  ])('of f/%f at %f x is f/%f', (fNumber, magnification, expected) => {
    expect(Number(effectiveFNumber(fNumber, magnification, 1).toPrecision(2))).toBe(expected);
  });

  it('and the marked one, and the numerical aperture, lead back to each other', () => {
    const positive = fc.double({ min: 0.05, max: 50, noNaN: true });
    fc.assert(
      fc.property(positive, positive, positive, (fNumber, magnification, pupilRatio) => {
        const effective = effectiveFNumber(fNumber, magnification, pupilRatio);
        expect(markedFNumber(effective, magnification, pupilRatio)).toBeCloseTo(fNumber, 9);
        const aperture = numericalAperture(effective, magnification);
        expect(effectiveFNumberOfNa(aperture, magnification) / effective).toBeCloseTo(1, 9);
        // A lens with the smaller exit pupil loses more light close up.
        expect(effectiveFNumber(fNumber, magnification, pupilRatio / 2)).toBeGreaterThan(effective);
      }),
    );
  });

  it('of a 20x objective of NA 0.42 is f/23.8', () => {
    // M / (2 NA), from memory of the teaching pages on microscopy.
    expect(effectiveFNumberOfNa(0.42, 20)).toBeCloseTo(23.81, 2);
  });
});

describe('distances of a thin lens', () => {
  it('fulfil 1/f = 1/s + 1/v, and v/s is the magnification', () => {
    const focal = fc.double({ min: 5, max: 500, noNaN: true });
    fc.assert(
      fc.property(focal, fc.double({ min: 0.01, max: 30, noNaN: true }), (f, m) => {
        const subject = subjectDistanceMm(f, m);
        const image = imageDistanceMm(f, m);
        expect((1 / subject + 1 / image) * f).toBeCloseTo(1, 9);
        expect(image / subject / m).toBeCloseTo(1, 9);
        // Nowhere is the whole shorter than four focal lengths, which it is at life size.
        expect(subject + image).toBeGreaterThanOrEqual(4 * f * (1 - 1e-9));
      }),
    );
    expect(subjectDistanceMm(50, 1) + imageDistanceMm(50, 1)).toBe(200);
  });
});
