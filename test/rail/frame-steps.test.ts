import { expect, test } from 'vitest';
import { frameSteps } from '../../src/rail/frame-steps.js';
import { stackTravel } from '../../src/rail/stack-travel.js';
import type { MotionSolution } from '../../src/register/motion-solution.js';
import { stillMotion } from './still-motion.js';

const size = { width: 128, height: 96 };

/** A stack of ten frames without any detail. */
function plainStack() {
  const frames = Array.from({ length: 10 }, (_, k) => stillMotion(k + 1, { detail: 0 }));
  const motion: MotionSolution = {
    anchorNumber: 5,
    frames,
    warnings: [],
  };
  const cells = 16 * 12;
  const energy = new Float32Array(cells * 4).fill(1);
  const light = new Float32Array(cells).fill(100);
  const grid = { columns: 16, rows: 12, cellPx: 8, energy, light };
  const travel = stackTravel(new Array(10).fill(grid), frames, size, 1);
  return { motion, stackTravel: travel };
}

test('positions give the steps, in either direction, in usual steps', () => {
  const numbers = [1, 2, 3, 5, 6];
  const positionsMm = [4, 3.8, 3.58, 3.4, 3.2, 3.0];
  const steps = frameSteps(numbers, plainStack(), positionsMm);
  expect(steps).toHaveLength(4);
  // 0.2, 0.22, 0.38 and 0.2 mm; the upper of the two in the middle is 0.22.
  [0.2, 0.22, 0.38, 0.2].forEach((mm, k) => {
    expect(steps[k]).toBeCloseTo(mm / 0.22, 9);
  });
});

test('steps stay between 0.3 and 30 usual ones', () => {
  const numbers = [1, 2, 3, 4, 5, 6];
  expect(frameSteps(numbers, plainStack(), [0, 1, 1, 2, 12, 13])).toEqual([1, 0.3, 1, 10, 1]);
  expect(frameSteps(numbers, plainStack(), [0, 1, 1, 2, 92, 93])).toEqual([1, 0.3, 1, 30, 1]);
  expect(frameSteps(numbers, plainStack(), [0, 0, 0, 0, 0, 0])).toEqual([1, 1, 1, 1, 1]);
});

test('without positions and detail the numbers give them', () => {
  const numbers = [1, 2, 4, 5, 9, 10];
  expect(frameSteps(numbers, plainStack(), undefined)).toEqual([1, 2, 1, 4, 1]);
});
