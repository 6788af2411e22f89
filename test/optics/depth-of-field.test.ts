import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { effectiveFNumber, numericalAperture } from '../../src/optics/close-up.js';
import {
  closeUpDepth,
  combinedDepthMm,
  geometricDepth,
  waveDepthMm,
} from '../../src/optics/depth-of-field.js';
import { frameCount, overlapOfStep, stepMm } from '../../src/optics/stack-steps.js';

const close = (fNumber: number, magnification: number, circleMm: number) =>
  closeUpDepth(effectiveFNumber(fNumber, magnification, 1), magnification, circleMm).totalMm;

describe('depth of field by rays', () => {
  it.each([
    // Traced from the pupils by hand to six decimals; formula as in the encyclopaedia article "Depth of field"
    // (from memory). f, N, c, m, P, exact, approximate.
    [50, 8, 0.03, 1, 1, 0.960022, 0.96],
    [100, 16, 0.03, 0.5, 1, 5.760531, 5.76],
    [100, 16, 0.03, 0.1, 1, 105.843864, 105.6],
    [65, 5.6, 0.03, 3, 1, 0.149333, 0.149333],
    [50, 8, 0.03, 1, 1.4, 0.822876, 0.822857],
    [50, 8, 0.03, 1, 0.7, 1.165741, 1.165714],
    [28, 8, 0.03, 2, 1.5, 0.280005, 0.28],
  ])('of %d mm f/%f, c %f at %f x, pupils %f, is %f mm', (f, N, c, m, P, exact, approximate) => {
    const lens = { focalLengthMm: f, fNumber: N, circleMm: c, magnification: m, pupilRatio: P };
    const limits = geometricDepth(lens);
    expect(limits.totalMm).toBeCloseTo(exact, 6);
    expect(limits.totalMm).toBeCloseTo(
      (2 * f * (1 / m + 1 / P)) / ((f * m) / (N * c) - (N * c) / (f * m)),
      9,
    );
    expect(closeUpDepth(effectiveFNumber(N, m, P), m, c).totalMm).toBeCloseTo(approximate, 6);
  });

  it('reaches 0.477707 mm before and 0.482315 mm behind the plane of focus (the first of these)', () => {
    const limits = geometricDepth({
      focalLengthMm: 50,
      fNumber: 8,
      circleMm: 0.03,
      magnification: 1,
      pupilRatio: 1,
    });
    expect(limits.nearMm).toBeCloseTo(0.477707, 6);
    expect(limits.farMm).toBeCloseTo(0.482315, 6);
  });

  it.each([
    // Savazzi, Digital Photography for Science, spreadsheet table 1 (c = 0.019 mm, two digits): N, m, mm.
    [1, 0.1, 4.2],
    [4, 0.1, 17],
    [2.8, 0.2, 3.2],
    [2, 0.5, 0.46],
    [4, 0.5, 0.91],
    [1, 1, 0.076],
    [4, 1, 0.3],
    [2, 2, 0.057],
    [2.8, 3, 0.047],
    [2.8, 5, 0.026],
    [4, 10, 0.017],
    [4, 20, 0.008],
    [2.8, 40, 0.0027],
  ])('of f/%f at %f x is %f mm in a published table', (fNumber, magnification, expected) => {
    expect(Number(close(fNumber, magnification, 0.019).toPrecision(2))).toBe(expected);
  });

  it.each([
    // Steps that practitioners published in a forum in 2011 for c = 0.015 mm, cut to two or three digits: m, N, mm.
    [1, 11, 0.66],
    [2, 8, 0.18],
    [3, 5.6, 0.075],
    [4, 4, 0.037],
    [5, 4, 0.028],
  ])('at %f x and f/%f is a practitioner’s %f mm', (magnification, fNumber, expected) => {
    expect(Math.abs(close(fNumber, magnification, 0.015) / expected - 1)).toBeLessThan(0.03);
  });

  it.each([
    // The depth scale of a 1x to 5x macro lens as its maker prints it (quoted in a review; c = 0.035 mm fits): m, N, mm.
    [1, 16, 2.24],
    [5, 2.8, 0.048],
    [5, 16, 0.269],
  ])('at %f x and f/%f is a maker’s %f mm', (magnification, fNumber, expected) => {
    expect(Math.abs(close(fNumber, magnification, 0.035) / expected - 1)).toBeLessThan(0.03);
  });

  it('has no far end once the circle is as large as the pupil on the subject', () => {
    const lens = { focalLengthMm: 20, fNumber: 20, pupilRatio: 1, circleMm: 0.02 };
    expect(geometricDepth({ ...lens, magnification: 0.02 }).farMm).toBe(Infinity);
    expect(geometricDepth({ ...lens, magnification: 0.021 }).farMm).toBeLessThan(Infinity);
  });
});

describe('depth of field by waves', () => {
  it.each([
    // Murphy, Fundamentals of Light Microscopy and Electronic Imaging (2001), table 4-1: NA, index, µm.
    [0.12, 1, 38.19],
    [0.25, 1, 8.8],
    [0.45, 1, 2.72],
    [0.75, 1, 0.98],
    [0.95, 1, 0.61],
    [0.8, 1.515, 1.3],
    [1.3, 1.515, 0.49],
    [1.4, 1.515, 0.43],
    // A list for objectives in air (photomacrography.net, topic 22855).
    [0.1, 1, 55],
    [0.14, 1, 28.1],
    [0.2, 1, 13.8],
    [0.28, 1, 7.02],
    [0.42, 1, 3.12],
    [0.55, 1, 1.82],
    [0.7, 1, 1.12],
  ])('of an objective of NA %f, index %f, is %f µm', (aperture, index, expectedUm) => {
    const decimals = String(expectedUm).split('.')[1]?.length ?? 0;
    // Half a digit of the table, and a hair for the numbers that lie on the edge.
    expect(Math.abs(1000 * waveDepthMm(550, aperture, index) - expectedUm)).toBeLessThan(
      0.501 * 10 ** -decimals,
    );
  });

  it.each([
    // 4 λ Neff² / m² (quarter wave either way), a teaching page on macro work: m, N, mm.
    [1, 8, 0.5632],
    [2, 5.6, 0.1552],
    [5, 2.8, 0.0248],
  ])('at %f x and f/%f is %f mm', (magnification, fNumber, expected) => {
    const aperture = numericalAperture(effectiveFNumber(fNumber, magnification, 1), magnification);
    expect(waveDepthMm(550, aperture)).toBeCloseTo(expected, 4);
  });
});

describe('depth of field by both', () => {
  const lens = { focalLengthMm: 50, magnification: 1, pupilRatio: 1 };
  const parts = (fNumber: number, circleMm: number, wavelengthNm: number) => {
    const geometric = geometricDepth({ ...lens, fNumber, circleMm }).totalMm;
    const wave = waveDepthMm(wavelengthNm, numericalAperture(effectiveFNumber(fNumber, 1, 1), 1));
    return { geometric, wave, combined: combinedDepthMm(wave, geometric) };
  };

  it('approaches that of rays as light gets short, and that of waves as the circle gets small', () => {
    fc.assert(
      fc.property(fc.double({ min: 1, max: 32, noNaN: true }), (fNumber) => {
        let last = { rays: Infinity, waves: Infinity };
        for (const shrink of [1, 10, 100, 1000, 1e4]) {
          const short = parts(fNumber, 0.02, 550 / shrink);
          const fine = parts(fNumber, 0.02 / shrink, 550);
          const off = { rays: short.combined / short.geometric - 1, waves: fine.combined / fine.wave - 1 };
          expect(off.rays).toBeGreaterThan(0);
          expect(off.waves).toBeGreaterThan(0);
          expect(off.rays).toBeLessThan(last.rays);
          expect(off.waves).toBeLessThan(last.waves);
          last = off;
        }
        expect(last.rays).toBeLessThan(0.001);
        expect(last.waves).toBeLessThan(0.005);
      }),
    );
  });

  it('is ruled by rays wide open and by waves stopped down', () => {
    const wideOpen = parts(1, 0.02, 550);
    const stoppedDown = parts(64, 0.02, 550);
    expect(wideOpen.geometric / wideOpen.combined).toBeGreaterThan(0.9);
    expect(stoppedDown.wave / stoppedDown.combined).toBeGreaterThan(0.85);
  });

  it.each([
    // A maker of scanning microscopes prints these by the same formula (microscopesinternational.com, article MXB2349)
    // but tells neither wavelength nor pixel: 550 nm and the 3 µm of common sensors come within 15 %. M, NA, µm.
    [20, 0.4, 3.81],
    [40, 0.65, 1.42],
    [60, 0.8, 0.82],
  ])(
    'of a %dx objective of NA %f is of the size that a maker prints, %f µm',
    (magnification, aperture, expectedUm) => {
      const geometric = closeUpDepth(magnification / (2 * aperture), magnification, 0.003).totalMm;
      const depthUm = 1000 * combinedDepthMm(waveDepthMm(550, aperture), geometric);
      expect(Math.abs(depthUm / expectedUm - 1)).toBeLessThan(0.15);
    },
  );

  it('and so the step falls as magnification rises', () => {
    const setup = fc.record({
      fNumber: fc.double({ min: 1, max: 32, noNaN: true }),
      pupilRatio: fc.double({ min: 0.3, max: 3, noNaN: true }),
      circleMm: fc.double({ min: 0.002, max: 0.04, noNaN: true }),
      focalLengthMm: fc.double({ min: 20, max: 200, noNaN: true }),
    });
    const magnification = fc.double({ min: 0.2, max: 20, noNaN: true });
    const overlap = fc.double({ min: 0, max: 0.9, noNaN: true });
    fc.assert(
      fc.property(setup, magnification, overlap, (given, m, share) => {
        const stepAt = (at: number): number => {
          const effective = effectiveFNumber(given.fNumber, at, given.pupilRatio);
          const wave = waveDepthMm(550, numericalAperture(effective, at));
          return stepMm(
            combinedDepthMm(wave, geometricDepth({ ...given, magnification: at }).totalMm),
            share,
          );
        };
        expect(stepAt(m * 1.01)).toBeLessThan(stepAt(m));
      }),
    );
  });
});

describe('steps', () => {
  it('of 30 % overlap take 17 frames for 5 mm at 1 x, f/5.6, c 0.020 (a published example)', () => {
    const depth = close(5.6, 1, 0.02);
    expect(depth).toBeCloseTo(0.448, 6);
    expect(stepMm(depth, 0.3)).toBeCloseTo(0.3136, 6);
    expect(frameCount(5, stepMm(depth, 0.3))).toBe(17);
  });

  it('reach the back of the subject with no frame too many, and keep their overlap', () => {
    const length = fc.double({ min: 0.001, max: 100, noNaN: true });
    fc.assert(
      fc.property(length, length, fc.double({ min: 0, max: 0.9, noNaN: true }), (subject, depth, overlap) => {
        const step = stepMm(depth, overlap);
        const frames = frameCount(subject, step);
        expect((frames - 1) * step).toBeGreaterThanOrEqual(subject * (1 - 1e-6));
        expect((frames - 2) * step).toBeLessThan(subject);
        expect(overlapOfStep(step, depth)).toBeCloseTo(overlap, 9);
      }),
    );
  });

  it('that divide the depth take no frame more for a rounding', () => {
    expect(frameCount(0.3, 0.1)).toBe(4);
    expect(frameCount(1, 0.1)).toBe(11);
  });
});
