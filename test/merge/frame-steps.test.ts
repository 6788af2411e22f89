import { expect, test } from 'vitest';
import { stackTravel } from '../../src/check/stack-travel.js';
import { identityMatrix } from '../../src/image/transform.js';
import { frameSteps } from '../../src/merge/frame-steps.js';
import type { UsedFrame } from '../../src/merge/used-frame.js';
import type { MotionSolution } from '../../src/register/motion-solution.js';
import { stillMotion } from '../check/still-motion.js';

const size = { width: 128, height: 96 };

/** Frames with these numbers out of ten, and a stack without any detail. */
function stackOf(numbers: readonly number[]) {
  const frames = Array.from({ length: 10 }, (_, k) => stillMotion(k + 1, { detail: 0 }));
  const motion: MotionSolution = {
    anchorNumber: 5,
    frames,
    rollFound: false,
    warnings: [],
  };
  const cells = 16 * 12;
  const energy = new Float32Array(cells * 4).fill(1);
  const light = new Float32Array(cells).fill(100);
  const grid = { columns: 16, rows: 12, cellPx: 8, energy, light };
  const travel = stackTravel(new Array(10).fill(grid), frames, size, 1);
  const used = numbers.map(
    (number, i): UsedFrame => ({
      file: { number } as UsedFrame['file'],
      ordinal: i + 1,
      toAnchor: identityMatrix,
      gainRatio: [1, 1, 1],
    }),
  );
  return { used, registration: { evidence: { motion, stackTravel: travel } } };
}

test('positions tell the steps, whichever way they run, in usual ones', () => {
  const { used, registration } = stackOf([1, 2, 3, 5, 6]);
  const positionsMm = [4, 3.8, 3.58, 3.4, 3.2, 3.0];
  const steps = frameSteps(used, registration, positionsMm);
  expect(steps).toHaveLength(4);
  // 0.2, 0.22, 0.38 and 0.2 mm; the upper of the two in the middle is 0.22.
  [0.2, 0.22, 0.38, 0.2].forEach((mm, k) => {
    expect(steps[k]).toBeCloseTo(mm / 0.22, 9);
  });
});

test('steps stay between 0.4 and 30 usual ones', () => {
  const { used, registration } = stackOf([1, 2, 3, 4, 5, 6]);
  expect(frameSteps(used, registration, [0, 1, 1, 2, 12, 13])).toEqual([1, 0.4, 1, 10, 1]);
  expect(frameSteps(used, registration, [0, 1, 1, 2, 92, 93])).toEqual([1, 0.4, 1, 30, 1]);
  expect(frameSteps(used, registration, [0, 0, 0, 0, 0, 0])).toEqual([1, 1, 1, 1, 1]);
});

test('without positions and detail the numbers tell them', () => {
  const { used, registration } = stackOf([1, 2, 4, 5, 9, 10]);
  expect(frameSteps(used, registration, undefined)).toEqual([1, 2, 1, 4, 1]);
});
