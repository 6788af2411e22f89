import { createRequire } from 'node:module';
import type openCv from '@techstark/opencv-js';
import { beforeAll, describe, expect, it } from 'vitest';
import type { Matrix3 } from '../../src/image/transform.js';
import { createMotionEstimator } from '../../src/register/motion-estimator.js';
import type { ReducedFrame } from '../../src/register/reduced-frame.js';
import { cornerError, createTexturedStack } from '../register/textured-stack.js';

// Required, not imported: the module has a `then` that yields itself, so awaiting its import never ends.
const cv: typeof openCv = createRequire(import.meta.url)('@techstark/opencv-js');

beforeAll(async () => {
  if (typeof cv.Mat === 'function') return;
  await new Promise<void>((resolve) => {
    cv.onRuntimeInitialized = resolve;
  });
});

/** Affine motion moving -> reference by OpenCV's ECC (Evangelidis & Psarakis 2008), from the identity. */
function eccMotion(reference: ReducedFrame, moving: ReducedFrame): Matrix3 {
  const { width, height } = reference;
  const template = cv.matFromArray(height, width, cv.CV_8U, [...reference.pixels]);
  const input = cv.matFromArray(height, width, cv.CV_8U, [...moving.pixels]);
  const warp = cv.matFromArray(2, 3, cv.CV_32F, [1, 0, 0, 0, 1, 0]);
  const mask = new cv.Mat();
  try {
    const stop = new cv.TermCriteria(cv.TermCriteria_COUNT + cv.TermCriteria_EPS, 200, 1e-7);
    cv.findTransformECC(template, input, warp, cv.MOTION_AFFINE, stop, mask, 5);
    // ECC gives reference -> moving.
    const [a, b, x, c, d, y] = warp.data32F;
    const det = a * d - b * c;
    return [d / det, -b / det, (b * y - d * x) / det, -c / det, a / det, (c * x - a * y) / det, 0, 0, 1];
  } finally {
    for (const mat of [template, input, warp, mask]) mat.delete();
  }
}

describe('the motion of a pair against OpenCV', () => {
  it('agrees with ECC on two frames, within what their defocus leaves open', () => {
    const width = 400;
    const height = 300;
    const stack = createTexturedStack({
      width,
      height,
      frameCount: 2,
      seed: 41,
      growthPerStep: 0.004,
      jitterPx: 1.2,
      rollRad: 0.003,
      flicker: 0.02,
      irregularity: 0.2,
      noise: 1,
      anchor: 0,
    });
    const frames = [stack.draw(0), stack.draw(1)];
    const estimator = createMotionEstimator({ motion: 'similarity', fullSize: { width, height } });
    for (const frame of frames) estimator.add(frame);
    const ours = estimator.solve(1).frames[1].matrix;
    const theirs = eccMotion(frames[0], frames[1]);
    expect(cornerError(ours, theirs, width, height)).toBeLessThan(0.25);
    // Not alike because neither moved: the frames do.
    expect(cornerError([1, 0, 0, 0, 1, 0, 0, 0, 1], theirs, width, height)).toBeGreaterThan(1);
    expect(cornerError(ours, stack.matrices[1], width, height)).toBeLessThan(
      cornerError(theirs, stack.matrices[1], width, height) + 0.05,
    );
  });
});
