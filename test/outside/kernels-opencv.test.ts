import { createRequire } from 'node:module';
import type openCv from '@techstark/opencv-js';
import { beforeAll, describe, expect, it } from 'vitest';
import { KernelRig, noise, type Plane, pictureOf, worstDifference } from '../kernels/kernel-rig.js';

// Required, not imported: the module has a `then` that yields itself, so awaiting its import never ends.
const cv: typeof openCv = createRequire(import.meta.url)('@techstark/opencv-js');

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
  // The module may be loaded before or after its code is compiled.
  if (typeof cv.Mat === 'function') return;
  await new Promise<void>((resolve) => {
    cv.onRuntimeInitialized = resolve;
  });
});

type Mat = InstanceType<typeof cv.Mat>;

/** The result of an OpenCV operation on one plane of 32-bit floats. */
function throughOpenCv(source: Plane, operation: (from: Mat, to: Mat) => void): Plane {
  const from = cv.matFromArray(source.height, source.width, cv.CV_32F, [...source.data]);
  const to = new cv.Mat();
  try {
    operation(from, to);
    return pictureOf(to.cols, to.rows, (x, y) => to.data32F[y * to.cols + x]);
  } finally {
    from.delete();
    to.delete();
  }
}

const sizes = [
  [101, 77],
  [128, 96],
  [66, 35],
] as const;

describe('the pyramid against OpenCV', () => {
  it.each(sizes)('reduces %i x %i as pyrDown does, borders included', (width, height) => {
    const picture = noise(width, height, 1);
    const fine = rig.store([picture]);
    const coarse = rig.arena.takePlanes((width + 1) >> 1, (height + 1) >> 1, 1, 4);
    rig.run(
      'reduceStrip',
      [
        ...[fine.pointer, fine.stride, fine.planeBytes, width, height],
        ...[coarse.pointer, coarse.stride, coarse.planeBytes, 1],
      ],
      coarse.height,
    );
    const theirs = throughOpenCv(picture, (from, to) => cv.pyrDown(from, to));
    expect(worstDifference(rig.read(coarse), theirs)).toBeLessThan(1e-3);
  });

  it.each(sizes)('expands to %i x %i as pyrUp does, away from borders', (width, height) => {
    const coarse = noise((width + 1) >> 1, (height + 1) >> 1, 2);
    const placed = rig.store([coarse, coarse, coarse]);
    // No detail at the finer level: the collapse is then the expansion alone.
    const acc = rig.store([1, 2, 3].map(() => pictureOf(width, height, () => 0)));
    const weight = rig.store([pictureOf(width, height, () => 1)]);
    rig.run(
      'collapseStrip',
      [
        ...[acc.pointer, acc.stride, acc.planeBytes, width, height, weight.pointer],
        ...[placed.pointer, placed.stride, placed.planeBytes],
      ],
      height,
    );
    const theirs = throughOpenCv(coarse, (from, to) => cv.pyrUp(from, to, new cv.Size(width, height)));
    for (const c of [0, 1, 2]) expect(worstDifference(rig.read(acc, c), theirs, 4)).toBeLessThan(1e-3);
  });
});

describe('the warp of a linear ramp against OpenCV', () => {
  const [width, height] = [96, 64];
  const ramp = pictureOf(width, height, (x, y) => 20 + x + 1.5 * y);

  function warp(motion: readonly number[]): Plane {
    const source = Float32Array.from({ length: width * height * 4 }, (_, i) => ramp.data[i >> 2]);
    const out = rig.arena.takePlanes(width, height, 3, 4);
    rig.run(
      'warpStrip',
      [
        ...[rig.placeSamples(source), 32, width, height, 1, 1, 1, ...motion, rig.taps],
        ...[out.pointer, out.stride, out.planeBytes, width, height],
      ],
      height,
    );
    return rig.read(out);
  }

  /** Linear interpolation of a ramp is the ramp; OpenCV keeps positions to 1/32 px, as these are. */
  function theirWarp(motion: readonly number[]): Plane {
    const affine = cv.matFromArray(2, 3, cv.CV_64F, [...motion]);
    const flags = cv.INTER_LINEAR | cv.WARP_INVERSE_MAP;
    try {
      return throughOpenCv(ramp, (from, to) =>
        cv.warpAffine(
          from,
          to,
          affine,
          new cv.Size(width, height),
          flags,
          cv.BORDER_REPLICATE,
          new cv.Scalar(),
        ),
      );
    } finally {
      affine.delete();
    }
  }

  // Whole and half pixels have symmetric taps, which keep a ramp exactly.
  it.each([
    [3, -2],
    [0.5, 0],
    [0, -1.5],
    [2.5, 1.5],
  ])('is exact for a shift of %d, %d px', (right, down) => {
    const motion = [1, 0, right, 0, 1, down];
    expect(worstDifference(warp(motion), theirWarp(motion), 6)).toBeLessThan(1e-4);
  });

  it.each([
    [0.25, 0.125],
    [-0.75, 1.375],
    [2.21875, -0.46875],
  ])('stays within 1/50 px in all for a shift of %d, %d px', (right, down) => {
    const motion = [1, 0, right, 0, 1, down];
    const worst = worstDifference(warp(motion), theirWarp(motion), 6);
    expect(worst).toBeLessThan(0.02 * (1 + 1.5));
  });
});
