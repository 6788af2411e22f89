import { expect, it } from 'vitest';
import { blurDiameterPx, focusDistanceMm, type Optics, scaleToAnchor } from '../../samples/camera.js';
import { pupilToField } from '../../src/optics/rail-growth.js';

it('blur and growth of a rail imply the pupil over the field', () => {
  const optics: Optics = { focalLengthMm: 65, fNumber: 4, magnification: 5, pixelPitchUm: 5 };
  const width = 6000;
  const stepMm = 0.01;
  // The renderer's camera: a thin lens that rides on a rail.
  const blurPx = blurDiameterPx(optics, stepMm) / 2;
  const growth = 1 - scaleToAnchor(optics, 0, stepMm);
  const fieldMm = (width * optics.pixelPitchUm) / 1000 / optics.magnification;
  expect(growth).toBeCloseTo(stepMm / focusDistanceMm(optics), 9);
  expect(pupilToField(blurPx, growth, width) / (65 / 4 / fieldMm)).toBeCloseTo(1, 3);
  expect(pupilToField(blurPx, -growth, width)).toBe(pupilToField(blurPx, growth, width));
});
