import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { waveDepthMm } from '../../src/optics/depth-of-field.js';
import {
  airyDiameterUm,
  cutoffPerMm,
  defocusStrehl,
  defocusWaves,
  perfectContrast,
  pixelLimitedFNumber,
} from '../../src/optics/diffraction.js';

describe('the Airy disc', () => {
  it.each([
    // Examples of makers of optics: nm, N, µm.
    [550, 4, 5.37],
    [532, 8, 10.38],
    [850, 2.8, 5.81],
    // A table for 520 nm, as makers of machine-vision lenses print it.
    [520, 1.4, 1.78],
    [520, 2, 2.54],
    [520, 8, 10.15],
    [520, 16, 20.3],
    // The 200 inch telescope at f/3.3: 0.0022 mm in radius (spitbite.org, pinhole discussion 2002).
    [550, 3.3, 4.4],
  ])('at %d nm and f/%f is %f µm across', (wavelength, fNumber, expected) => {
    expect(Math.abs(airyDiameterUm(wavelength, fNumber) - expected)).toBeLessThan(0.03);
  });

  it.each([
    // Cut-offs at 550 nm as tables of lens tests print them: N, line pairs per mm.
    [8, 227],
    [11, 165],
    [16, 114],
    [22, 83],
    [32, 57],
  ])('leaves no detail beyond the cut-off: f/%d, %d per mm', (fNumber, expected) => {
    expect(Math.round(cutoffPerMm(550, fNumber))).toBe(expected);
  });
});

describe('contrast of a perfect lens', () => {
  it('is a half at 40 % of the cut-off and a tenth at 80 % (W. J. Smith, Practical Optical System Layout, 1997)', () => {
    expect(perfectContrast(0.4, 1)).toBeCloseTo(0.5, 1);
    expect(perfectContrast(0.8, 1)).toBeCloseTo(0.1, 1);
  });

  it('equals the overlap of two round pupils, counted point by point', () => {
    const across = 400;
    for (const share of [0.1, 0.41, 0.77, 0.95]) {
      let both = 0;
      let one = 0;
      for (let row = 0; row < across; row++) {
        for (let column = 0; column < across; column++) {
          const x = (2 * (column + 0.5)) / across - 1;
          const y = (2 * (row + 0.5)) / across - 1;
          if (x * x + y * y > 1) continue;
          one++;
          if ((x - 2 * share) ** 2 + y * y <= 1) both++;
        }
      }
      expect(perfectContrast(share, 1)).toBeCloseTo(both / one, 2);
    }
    expect(perfectContrast(0, 1)).toBe(1);
    expect(perfectContrast(1.2, 1)).toBe(0);
  });
});

describe('the aperture at which pixels and diffraction meet', () => {
  it.each([
    // "Diffraction limited apertures" that reviews of four APS-C cameras print, and the pitch of their pixels
    // (22.7 mm / 3072, 22.5 / 3504, 22.2 / 3888, 22.3 / 4752); the tables fit 510 nm.
    [7.39, 11.8],
    [6.42, 10.3],
    [5.71, 9.3],
    [4.69, 7.6],
  ])('of %f µm is f/%f', (pitch, expected) => {
    expect(Math.abs(pixelLimitedFNumber(510, pitch) / expected - 1)).toBeLessThan(0.02);
  });

  it('makes the Airy disc two pixels wide', () => {
    const pitches = fc.double({ min: 0.5, max: 20, noNaN: true });
    fc.assert(
      fc.property(pitches, fc.double({ min: 300, max: 1000, noNaN: true }), (pitch, wavelength) => {
        expect(airyDiameterUm(wavelength, pixelLimitedFNumber(wavelength, pitch)) / pitch).toBeCloseTo(2, 9);
      }),
    );
  });
});

describe('defocus', () => {
  it('of a quarter wave leaves 0.8 of the peak (Rayleigh; Born and Wolf, section 9.3)', () => {
    expect(defocusStrehl(0.25)).toBeCloseTo(0.81, 2);
    expect(defocusStrehl(0)).toBe(1);
    expect(defocusStrehl(1)).toBeCloseTo(0, 9);
  });

  it('at the ends of the depth by waves is a quarter wave', () => {
    fc.assert(
      fc.property(fc.double({ min: 0.01, max: 0.9, noNaN: true }), (aperture) => {
        expect(defocusWaves(waveDepthMm(550, aperture) / 2, aperture, 550)).toBeCloseTo(0.25, 9);
      }),
    );
  });
});
