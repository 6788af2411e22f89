import { beforeAll, describe, expect, it } from 'vitest';
import { applyMatrix } from '../../src/image/transform.js';
import { createMotionEstimator, type MotionEstimatorOptions } from '../../src/register/motion-estimator.js';
import type { MotionSolution } from '../../src/register/motion-solution.js';
import type { ReducedFrame } from '../../src/register/reduced-frame.js';
import {
  cornerError,
  createTexturedStack,
  normalRandom,
  type StackPlan,
  seededRandom,
  type TexturedStack,
} from './textured-stack.js';

const degree = Math.PI / 180;

/** A rail stack as it should not be: jitter, roll, flicker, uneven steps, one shaken frame. */
const plan: StackPlan = {
  width: 512,
  height: 384,
  frameCount: 24,
  seed: 11,
  growthPerStep: 0.0012,
  jitterPx: 3,
  rollRad: 0.1 * degree,
  flicker: 0.02,
  irregularity: 0.2,
  noise: 1,
  shaken: { index: 8, lengthPx: 11 },
  perspective: true,
  relief: 0.8,
  blurPerStep: 0.3,
  channels: 3,
  anchor: 12,
};
const { width, height, frameCount, anchor } = plan;
const fullSize = { width, height };

function estimate(
  frames: readonly ReducedFrame[],
  anchorNumber: number,
  options: Partial<MotionEstimatorOptions> = {},
): MotionSolution {
  const estimator = createMotionEstimator({ motion: 'scale', fullSize, ...options });
  for (const frame of frames) estimator.add(frame);
  return estimator.solve(anchorNumber);
}

function cornerErrors({ frames }: MotionSolution, { matrices }: TexturedStack): number[] {
  return frames.map(({ matrix, number }) => cornerError(matrix, matrices[number - 1], width, height));
}

function middle(values: readonly number[]): number {
  return [...values].sort((p, q) => p - q)[values.length >> 1];
}

let stack: TexturedStack;
let frames: ReducedFrame[];
let solution: MotionSolution;
beforeAll(() => {
  stack = createTexturedStack(plan);
  frames = Array.from({ length: frameCount }, (_, k) => stack.draw(k));
  solution = estimate(frames, anchor + 1);
}, 120_000);

describe('the motion of a rail stack', () => {
  it('is found at the corners within 0.055 px in the middle and 0.2 px at worst', () => {
    const errors = cornerErrors(solution, stack);
    expect(middle(errors)).toBeLessThan(0.055);
    expect(Math.max(...errors)).toBeLessThan(0.2);
    expect(solution.frames.every(({ usable }) => usable)).toBe(true);
    expect(solution.frames[anchor].similarity).toEqual({ scale: 1, rollRad: 0, shiftXPx: 0, shiftYPx: 0 });
  });

  it('comes with gains that undo the flicker within 0.2 %', () => {
    solution.frames.forEach(({ gainRatio }, k) => {
      gainRatio.forEach((gain, c) => {
        expect(Math.abs(gain / stack.gains[k][c] - 1)).toBeLessThan(0.002);
      });
    });
  });

  it('measures how much the picture grows, and that the frames turn', () => {
    // Growth per frame by the true scales.
    const inverse = stack.truth.map(({ scale }) => 1 / scale);
    const expected = (inverse[inverse.length - 1] - inverse[0]) / (inverse.length - 1);
    const { perFrame, sigma } = solution.growth!;
    expect(perFrame).toBeGreaterThan(5 * sigma);
    expect(Math.abs(perFrame / expected - 1)).toBeLessThan(0.15);
    expect(solution.frames.some(({ similarity }) => similarity.rollRad !== 0)).toBe(true);
  });

  it('shows the shaken frame by its sharpness and still places it', () => {
    const { index } = plan.shaken as { index: number };
    const sharpness = solution.frames.map((frame) => frame.sharpness);
    expect(Math.min(...sharpness)).toBe(sharpness[index]);
    expect(sharpness[index]).toBeLessThan(0.7);
    expect(solution.warnings).toEqual([]);
    expect(cornerErrors(solution, stack)[index]).toBeLessThan(0.4);
  });

  it('reports uneven steps of the rail', () => {
    // 1/scale of the truth less its straight line, against what is reported.
    const inverse = stack.truth.map(({ scale }) => 1 / scale);
    const mean = (values: readonly number[]) => values.reduce((sum, value) => sum + value, 0) / values.length;
    const places = inverse.map((_, k) => k);
    const slope =
      mean(places.map((k) => (k - mean(places)) * (inverse[k] - mean(inverse)))) /
      mean(places.map((k) => (k - mean(places)) ** 2));
    const expected = inverse.map((value, k) => value - mean(inverse) - slope * (k - mean(places)));
    const found = solution.frames.map(({ scaleResidual }) => scaleResidual);
    const agreement =
      mean(found.map((value, k) => (value - mean(found)) * expected[k])) /
      Math.sqrt(
        mean(found.map((value) => (value - mean(found)) ** 2)) * mean(expected.map((value) => value ** 2)),
      );
    expect(agreement).toBeGreaterThan(0.8);
  });

  it('is the same, and so is the sharpness of all frames, where every second one is a stop darker', () => {
    // The sRGB curve at middle tones.
    const stop = 2 ** (1 / 2.2);
    const darkened = frames.map((frame, k) =>
      k % 2 === 1 ? { ...frame, pixels: frame.pixels.map((value) => Math.round(value / stop)) } : frame,
    );
    const found = estimate(darkened, anchor + 1).frames;
    const errors = found.map(({ matrix }, k) =>
      cornerError(matrix, solution.frames[k].matrix, width, height),
    );
    expect(Math.max(...errors)).toBeLessThan(0.1);
    for (const [k, { sharpness }] of found.entries()) {
      expect(Math.abs(sharpness - solution.frames[k].sharpness)).toBeLessThan(0.1);
    }
  });

  it('is the same for the frames in reverse order, and the growth the opposite', () => {
    const reversed = estimate([...frames].reverse(), anchor + 1);
    expect(reversed.growth!.perFrame).toBeLessThan(-5 * reversed.growth!.sigma);
    for (const { number, matrix } of reversed.frames) {
      expect(cornerError(matrix, solution.frames[number - 1].matrix, width, height)).toBeLessThan(0.25);
    }
  });

  it('is the same up to the anchor, whichever frame that is', () => {
    const first = estimate(frames, 1);
    const toFirst = first.frames[anchor].matrix;
    for (const { number, matrix } of solution.frames) {
      const [x, y] = applyMatrix(toFirst, ...applyMatrix(matrix, 0, 0));
      const [firstX, firstY] = applyMatrix(first.frames[number - 1].matrix, 0, 0);
      // Another place of the camera sees the same scene in another perspective.
      expect(Math.hypot(x - firstX, y - firstY)).toBeLessThan(0.1);
    }
  });
});

describe('a foreign frame in the middle of a stack', () => {
  // Turned by half a circle the texture has nothing in common with its neighbours.
  const foreignFrame = () => ({ ...frames[5], pixels: frames[5].pixels.toReversed() });

  it('is reported, and the others are as if it were not there', () => {
    const at = 15;
    const mixed = frames.map((frame, k) => (k === at ? { ...foreignFrame(), number: at + 1 } : frame));
    const { frames: found, warnings } = estimate(mixed, anchor + 1);
    expect(found.flatMap(({ usable, number }) => (usable ? [] : [number]))).toEqual([at + 1]);
    expect(found[at].reason).toMatch(/too little in common/);
    expect(warnings).toEqual([]);
    const errors = found.map(({ matrix }, k) => cornerError(matrix, stack.matrices[k], width, height));
    expect(Math.max(...errors.filter((_, k) => k !== at))).toBeLessThan(0.6);
  });

  it('gives way when it was to be the anchor', () => {
    const mixed = frames.slice(0, 6).map((frame, k) => (k === 3 ? { ...foreignFrame(), number: 4 } : frame));
    const found = estimate(mixed, 4);
    expect(found.anchorNumber).toBe(3);
    expect(found.warnings[0]).toMatch(/Frame 4 was to be the anchor/);
  });
});

describe('things that sit on the sensor', () => {
  it('dust and hot pixels do not hold the estimate back', () => {
    const random = seededRandom(5);
    const specks = Array.from({ length: 25 }, () => ({
      x: Math.floor(random() * width),
      y: Math.floor(random() * height),
      radius: 3 + 4 * random(),
    }));
    const hot = Array.from({ length: 400 }, () => Math.floor(random() * width * height));
    const dirty = frames.slice(0, 12).map((frame) => {
      const pixels = frame.pixels.slice();
      for (const { x, y, radius } of specks) {
        for (let py = Math.max(0, y - 10); py < Math.min(height, y + 11); py++) {
          for (let px = Math.max(0, x - 10); px < Math.min(width, x + 11); px++) {
            const shade = 1 - 0.3 * Math.exp(-((px - x) ** 2 + (py - y) ** 2) / radius ** 2);
            for (let c = 0; c < 3; c++) pixels[(py * width + px) * 3 + c] *= shade;
          }
        }
      }
      for (const at of hot) pixels.fill(255, at * 3, at * 3 + 3);
      return { ...frame, pixels };
    });
    const clean = estimate(frames.slice(0, 12), 6);
    const found = estimate(dirty, 6);
    for (const [k, { matrix }] of found.frames.entries()) {
      expect(cornerError(matrix, clean.frames[k].matrix, width, height)).toBeLessThan(0.35);
    }
  });
});

describe('frames that say little', () => {
  const flat = (number: number, value: number): ReducedFrame => ({
    number,
    pixels: new Uint8Array(96 * 64).fill(value),
    width: 96,
    height: 64,
    channels: 1,
    bits: 8,
    factor: 1,
  });
  const small = { width: 96, height: 64 };

  it('all flat: they stay where they are, and each says that it shows no detail', () => {
    const found = estimate(
      [1, 2, 3, 4].map((n) => flat(n, 0)),
      2,
      { fullSize: small },
    );
    for (const frame of found.frames) {
      expect(frame).toMatchObject({ usable: true, reason: 'it shows no detail', detail: 0 });
      expect(frame.similarity).toEqual({ scale: 1, rollRad: 0, shiftXPx: 0, shiftYPx: 0 });
      expect(frame.gainRatio).toEqual([1]);
    }
    expect(found.growth!.perFrame).toBe(0);
    expect(found.frames.map(({ sameAsPrevious }) => sameAsPrevious)).toEqual([false, true, true, true]);
  });

  it('a lens cap among pictures is left out', () => {
    const mixed = frames
      .slice(0, 5)
      .map((frame, k) => (k === 2 ? { ...frame, pixels: new Uint8Array(frame.pixels.length) } : frame));
    const found = estimate(mixed, 2);
    expect(found.frames.map(({ usable }) => usable)).toEqual([true, true, false, true, true]);
    expect(found.frames[2].reason).toBe('it shows no detail');
  });

  it('frames of noise alone have nothing in common', () => {
    const random = seededRandom(3);
    const noisy = [1, 2, 3, 4, 5].map((number) => ({
      ...flat(number, 0),
      pixels: Uint8Array.from({ length: 96 * 64 }, () => 60 + 8 * normalRandom(random)),
    }));
    const found = estimate(noisy, 3, { fullSize: small });
    expect(found.frames.filter(({ usable }) => usable)).toHaveLength(1);
  });

  it('one frame alone is its own anchor', () => {
    const found = estimate([frames[0]], 1);
    expect(found.frames[0]).toMatchObject({ usable: true, gainRatio: [1, 1, 1] });
    expect(found.warnings).toEqual([]);
  });

  it('the same picture again and again does not move', () => {
    const found = estimate(
      [1, 2, 3].map((number) => ({ ...frames[0], number })),
      2,
    );
    for (const { similarity, usable } of found.frames) {
      expect(usable).toBe(true);
      expect(similarity.scale).toBeCloseTo(1, 7);
      expect(Math.abs(similarity.rollRad)).toBe(0);
      expect(Math.hypot(similarity.shiftXPx, similarity.shiftYPx)).toBeLessThan(1e-3);
    }
    expect(Math.abs(found.growth!.perFrame)).toBeLessThan(found.growth!.sigma);
  });
});

describe('the options of the motion', () => {
  it('none leaves every frame in place and still evens the light', () => {
    const found = estimate(frames.slice(0, 4), 1, { motion: 'none' });
    for (const [k, frame] of found.frames.entries()) {
      expect(frame.similarity).toEqual({ scale: 1, rollRad: 0, shiftXPx: 0, shiftYPx: 0 });
      const expected = stack.gains[k][0] / stack.gains[0][0];
      expect(Math.abs(frame.gainRatio[0] / expected - 1)).toBeLessThan(0.01);
    }
  });

  it('shift finds shifts alone', () => {
    const still = createTexturedStack({
      ...plan,
      width: 320,
      height: 240,
      frameCount: 5,
      anchor: 2,
      growthPerStep: 1e-9,
      rollRad: 0,
      shaken: undefined,
      channels: 1,
      bits: 16,
    });
    const found = estimate([0, 1, 2, 3, 4].map(still.draw), 3, {
      motion: 'shift',
      fullSize: { width: 320, height: 240 },
    });
    for (const [k, { similarity, matrix }] of found.frames.entries()) {
      expect(similarity.scale).toBe(1);
      expect(Math.abs(similarity.rollRad)).toBe(0);
      expect(cornerError(matrix, still.matrices[k], 320, 240)).toBeLessThan(0.15);
    }
  });

  it('shifts of a twentieth of the width between neighbours are found', () => {
    const shift = Math.round(0.05 * width);
    const inner = (frame: ReducedFrame, x0: number, y0: number): ReducedFrame => {
      const pixels = new Uint8Array(400 * 320 * 3);
      for (let y = 0; y < 320; y++) {
        const from = ((y + y0) * width + x0) * 3;
        pixels.set(frame.pixels.subarray(from, from + 400 * 3), y * 400 * 3);
      }
      return { ...frame, pixels, width: 400, height: 320 };
    };
    const cut = [
      inner(frames[4], 40, 30),
      inner(frames[5], 40 + shift, 30 + shift),
      inner(frames[6], 40, 30),
    ];
    const found = estimate(cut, 5, { fullSize: { width: 400, height: 320 } });
    const near = estimate(
      cut.map((_, k) => inner(frames[4 + k], 40, 30)),
      5,
      { fullSize: { width: 400, height: 320 } },
    );
    // Cut further to the right and down, the frame lies there by the same amount.
    const [x, y] = applyMatrix(found.frames[1].matrix, 0, 0);
    const [nearX, nearY] = applyMatrix(near.frames[1].matrix, shift, shift);
    expect(Math.hypot(x - nearX, y - nearY)).toBeLessThan(0.2);
  });

  it('a reduced picture gives the motion of the full one', () => {
    const reducedBy = (factor: number) =>
      estimate(
        frames.slice(0, 4).map((frame) => ({ ...frame, factor })),
        1,
        { fullSize: { width: factor * width, height: factor * height } },
      );
    const whole = estimate(frames.slice(0, 4), 1);
    const [doubled, fourfold] = [reducedBy(2), reducedBy(4)];
    for (const [k, { similarity }] of doubled.frames.entries()) {
      const plain = whole.frames[k].similarity;
      // Reduced pictures alone are smoothed.
      expect(Math.abs(similarity.scale - plain.scale)).toBeLessThan(1e-4);
      expect(Math.abs(similarity.rollRad - plain.rollRad)).toBeLessThan(1e-4);
      expect(similarity.shiftXPx).toBeCloseTo(2 * plain.shiftXPx, 1);
      expect(similarity.shiftYPx).toBeCloseTo(2 * plain.shiftYPx, 1);
      const wide = fourfold.frames[k].similarity;
      expect(wide.scale).toBeCloseTo(similarity.scale, 5);
      expect(wide.rollRad).toBeCloseTo(similarity.rollRad, 5);
      expect(wide.shiftXPx).toBeCloseTo(2 * similarity.shiftXPx, 1);
      expect(wide.shiftYPx).toBeCloseTo(2 * similarity.shiftYPx, 1);
    }
  });

  it('a frame of another size is refused with both sizes', () => {
    const estimator = createMotionEstimator({ motion: 'scale', fullSize });
    estimator.add(frames[0]);
    expect(() =>
      estimator.add({ ...frames[1], width: 10, height: 10, pixels: new Uint8Array(300), number: 2 }),
    ).toThrow(/512 x 384 x 3 for frame 2 but received 10 x 10 x 3/);
    expect(() => estimator.solve(9)).toThrow(/anchorNumber but received 9/);
  });
});

describe('a frame that is taken out again', () => {
  it('leaves the others where they were, and the stack goes on behind it', () => {
    const estimator = createMotionEstimator({ motion: 'scale', fullSize });
    for (const frame of frames.slice(0, 14)) estimator.add(frame);
    // One inside, two of the kept ones, and at last the frame from which all is counted.
    for (const index of [13, 12, 5, 0]) estimator.remove(index);
    for (const frame of frames.slice(12)) estimator.add(frame);
    const found = estimator.solve(anchor + 1);
    const left = frames.map(({ number }) => number).filter((number) => number !== 1 && number !== 6);
    expect(found.frames.map(({ number }) => number)).toEqual(left);
    expect(found.frames.every(({ usable }) => usable)).toBe(true);
    const whole = cornerErrors(solution, stack);
    const errors = cornerErrors(found, stack);
    expect(middle(errors)).toBeLessThan(1.5 * middle(whole) + 0.05);
  });
});

describe('a long stack', () => {
  it('does not drift: forty frames stay within 0.8 px of an anchor at the end', () => {
    const long = createTexturedStack({
      ...plan,
      width: 320,
      height: 240,
      frameCount: 40,
      blurPerStep: 0.15,
      shaken: undefined,
      channels: 1,
      anchor: 0,
      seed: 21,
    });
    const estimator = createMotionEstimator({ motion: 'scale', fullSize: { width: 320, height: 240 } });
    for (let k = 0; k < 40; k++) estimator.add(long.draw(k));
    const found = estimator.solve(1);
    const errors = found.frames.map(({ matrix }, k) => cornerError(matrix, long.matrices[k], 320, 240));
    expect(Math.max(...errors)).toBeLessThan(0.8);
  }, 60_000);
});
