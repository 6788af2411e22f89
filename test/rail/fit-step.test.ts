import { describe, expect, test } from 'vitest';
import { fitStep } from '../../src/rail/fit-step.js';
import { focusCurves } from '../../src/rail/focus-curves.js';
import { peakSegments } from '../../src/rail/peak-segments.js';
import { madeCurves, range, spread } from './made-curves.js';

/** Frames a step apart, but for `step` in the middle, and what the curves of `tiles` make of that one. */
function fitMiddle(step: number, tiles: readonly number[]) {
  const frames = [...range(8), ...range(9).map((k) => 7 + step + k)];
  const curves = focusCurves(madeCurves({ frames, tiles }));
  return fitStep(curves, peakSegments(curves), new Array(16).fill(1), 7);
}

describe('the length of a step by the curves of the tiles', () => {
  test.each([0, 0.5, 1, 1.5, 2, 2.5])(
    'is %f where that was travelled, and tiles before it and after it agree',
    (step) => {
      const fit = fitMiddle(step, spread(400, 0.5, 14.5 + step));
      for (const length of [fit?.length, fit?.shorter, fit?.longer]) {
        expect(Math.abs((length ?? Number.NaN) - step)).toBeLessThanOrEqual(0.26);
      }
    },
  );

  test('is not known where tiles come into focus on one side of it alone', () => {
    expect(fitMiddle(2, spread(300, 2, 7))).toBeUndefined();
  });

  test('is not known where nothing comes into focus about it', () => {
    expect(fitMiddle(2, [...spread(150, 0.5, 3), ...spread(150, 13, 15)])).toBeUndefined();
  });
});
