import fc from 'fast-check';
import { beforeAll, describe, expect, it } from 'vitest';
import { createMotionEstimator } from '../../src/register/motion-estimator.js';
import type { MotionSolution } from '../../src/register/motion-solution.js';
import type { ReducedFrame } from '../../src/register/reduced-frame.js';
import {
  applyMatrix,
  composeMatrices,
  identityMatrix,
  invertMatrix,
  type Matrix3,
  similarityMatrix,
} from '../../src/register/transform.js';
import { cornerError, createTexturedStack, type TexturedStack } from './textured-stack.js';

const width = 480;
const height = 360;
const frameCount = 12;
const anchor = 5;
const foreign = 8;

let stack: TexturedStack;
let frames: ReducedFrame[];
let solution: MotionSolution;

function register(pictures: readonly ReducedFrame[], anchorNumber: number): MotionSolution {
  const estimator = createMotionEstimator({ motion: 'similarity', fullSize: { width, height } });
  for (const picture of pictures) estimator.add(picture);
  return estimator.solve(anchorNumber);
}

/** Corner errors of all frames but the anchor and those left out, sorted, px. */
function errorsOf(
  found: readonly Matrix3[],
  truth: readonly Matrix3[],
  without: readonly number[],
): number[] {
  return found
    .flatMap((matrix, k) => (without.includes(k) ? [] : [cornerError(matrix, truth[k], width, height)]))
    .sort((p, q) => p - q);
}

function expectClose(errors: readonly number[]): void {
  expect(errors[errors.length >> 1]).toBeLessThan(0.3);
  expect(errors.at(-1)).toBeLessThan(0.7);
}

beforeAll(() => {
  stack = createTexturedStack({
    width,
    height,
    frameCount,
    seed: 2,
    growthPerStep: 0.002,
    jitterPx: 3,
    rollRad: (0.1 * Math.PI) / 180,
    flicker: 0.02,
    irregularity: 0.2,
    noise: 1,
    anchor,
  });
  frames = Array.from({ length: frameCount }, (_, k) => stack.draw(k));
  solution = register(frames, anchor + 1);
});

describe('motion of a stack drawn from a formula', () => {
  it('recovers the transforms it was drawn with', () => {
    const unmoved = errorsOf(
      frames.map(() => identityMatrix),
      stack.matrices,
      [anchor],
    );
    expect(unmoved[unmoved.length >> 1]).toBeGreaterThan(2);
    expect(solution.frames.every(({ usable }) => usable)).toBe(true);
    const found = solution.frames.map(({ matrix }) => matrix);
    expectClose(errorsOf(found, stack.matrices, [anchor]));
    expect(cornerError(found[anchor], identityMatrix, width, height)).toBe(0);
  });

  it('recovers the gains within half a percent', () => {
    const { gains } = stack;
    expect(Math.max(...gains.map(([gain]) => Math.abs(gain - 1)))).toBeGreaterThan(0.01);
    for (const [k, { gainRatio }] of solution.frames.entries()) {
      expect(Math.abs(gainRatio[0] / gains[k][0] - 1)).toBeLessThan(0.005);
    }
  });

  it('gives the inverse motions for the reversed stack', () => {
    const turned = frames.toReversed().map((frame, k) => ({ ...frame, number: k + 1 }));
    const reversed = register(turned, 1);
    // Anchored at the last frame: what leads from the old anchor there undoes the old way of that last frame.
    const toLast = reversed.frames[frameCount - 1 - anchor].matrix;
    const undone = invertMatrix(solution.frames[frameCount - 1].matrix);
    expect(cornerError(toLast, undone, width, height)).toBeLessThan(0.15);
    const truth = stack.matrices.map((m) => composeMatrices(invertMatrix(stack.matrices[frameCount - 1]), m));
    expectClose(errorsOf(reversed.frames.map(({ matrix }) => matrix).toReversed(), truth, [frameCount - 1]));
    expect([solution.direction, reversed.direction].sort()).toEqual(['far-to-near', 'near-to-far']);
  });

  it('reports a foreign frame and leaves the others unharmed', () => {
    // Turned by half a circle the texture has nothing in common with its neighbours.
    const mixed = frames.map((frame, k) =>
      k === foreign ? { ...frame, pixels: frame.pixels.toReversed() } : frame,
    );
    const found = register(mixed, anchor + 1);
    expect(found.frames.filter(({ usable }) => !usable).map(({ number }) => number)).toEqual([foreign + 1]);
    expect(found.frames[foreign].reason).toBeTruthy();
    expect(found.warnings.join('\n')).toContain(`Frame ${foreign + 1} `);
    const matrices = found.frames.map(({ matrix }) => matrix);
    expectClose(errorsOf(matrices, stack.matrices, [anchor, foreign]));
  });
});

describe('matrices', () => {
  const similarity = fc.record({
    scale: fc.double({ min: 0.5, max: 2, noNaN: true }),
    rollRad: fc.double({ min: -3, max: 3, noNaN: true }),
    shiftXPx: fc.double({ min: -500, max: 500, noNaN: true }),
    shiftYPx: fc.double({ min: -500, max: 500, noNaN: true }),
  });
  const coordinate = fc.double({ min: -1000, max: 1000, noNaN: true });

  it('compose as one after the other, and invert back', () => {
    fc.assert(
      fc.property(similarity, similarity, coordinate, coordinate, (s, t, x, y) => {
        const first = similarityMatrix(s, width, height);
        const second = similarityMatrix(t, width, height);
        const both = applyMatrix(composeMatrices(second, first), x, y);
        const inTurn = applyMatrix(second, ...applyMatrix(first, x, y));
        expect(Math.hypot(both[0] - inTurn[0], both[1] - inTurn[1])).toBeLessThan(1e-7);
        const back = applyMatrix(invertMatrix(first), ...applyMatrix(first, x, y));
        expect(Math.hypot(back[0] - x, back[1] - y)).toBeLessThan(1e-7);
      }),
    );
  });

  it('refuse to invert what is singular', () => {
    expect(() => invertMatrix([1, 2, 0, 2, 4, 0, 0, 0, 1])).toThrow(/invertible/);
  });
});
