import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { apertureCurve } from '../../src/plan/aperture-curve.js';
import { plan } from '../../src/plan/plan.js';
import type { PlanOptions } from '../../src/plan/plan-options.js';
import { slabsOf } from '../../src/plan/slabs.js';
import type { StackPlan } from '../../src/plan/stack-plan.js';

const stack = (options: Partial<PlanOptions>) => plan(options) as StackPlan;
const camera = { sensor: 'aps-c', pixels: 24e6 } as const;

const anyStack = fc.record({
  magnification: fc.double({ min: 0.3, max: 10, noNaN: true }),
  fNumber: fc.double({ min: 2.8, max: 16, noNaN: true }),
  depthMm: fc.double({ min: 0.2, max: 5, noNaN: true }),
  overlapPercent: fc.double({ min: 0, max: 60, noNaN: true }),
});

describe('the slabs of a plan', () => {
  it('cover the subject from front to back, each the asked share of the one before', () => {
    fc.assert(
      fc.property(anyStack, (options) => {
        const planned = stack({ ...camera, ...options });
        const slabs = slabsOf(planned);
        expect(slabs).toHaveLength(planned.frames);
        expect(slabs[0].fromMm).toBeLessThan(0);
        expect(slabs[slabs.length - 1].toMm).toBeGreaterThan(options.depthMm);
        for (const [k, slab] of slabs.slice(1).entries()) {
          const shared = (slabs[k].toMm - slab.fromMm) / (slab.toMm - slab.fromMm);
          expect(100 * shared).toBeCloseTo(options.overlapPercent, 6);
        }
      }),
      { numRuns: 60 },
    );
  });

  it('leave the gap that the plan warns of, where the step is longer than they are thick', () => {
    const planned = stack({ ...camera, magnification: 1, fNumber: 8, depthMm: 5, stepMm: 2 });
    const [first, second] = slabsOf(planned);
    expect(second.fromMm - first.toMm).toBeCloseTo(planned.step.gapMm, 9);
    expect(planned.step.gapMm).toBeGreaterThan(0.5);
  });

  it('are by rays 0.448 mm thick at 1:1, f/5.6 and a circle of 0.020 mm (published table), and by waves λ/NA² more', () => {
    const [slab] = slabsOf(stack({ ...camera, magnification: 1, fNumber: 5.6, circle: 0.02, depthMm: 5 }));
    // NA = 1 / (2 · 11.2)
    expect(slab.toMm - slab.fromMm).toBeCloseTo(0.448 + 0.00055 * 22.4 ** 2, 9);
  });

  it('end where a thin lens spreads a point over the circle of confusion, but for the half waves beyond', () => {
    const focalLengthMm = 60;
    const options = { focalLengthMm, ownMagnification: 0.5, fNumber: 11, circle: 0.03, depthMm: 5 };
    const planned = stack({ ...camera, ...options });
    const [slab] = slabsOf(planned);
    const waves = planned.depth.wave.totalMm / 2;
    const distance = focalLengthMm * (1 + 1 / 0.5);
    for (const [edge, side] of [
      [slab.fromMm + waves, -1],
      [slab.toMm - waves, 1],
    ]) {
      // Similar triangles: aperture · m · defocus / distance of the point.
      const blur = ((focalLengthMm / 11) * 0.5 * Math.abs(edge)) / (distance + edge);
      expect(blur).toBeCloseTo(0.03, 9);
      expect(Math.sign(edge)).toBe(side);
    }
  });
});

describe('the curve over the apertures', () => {
  const curve = (options: Partial<PlanOptions>) =>
    apertureCurve(stack({ ...camera, depthMm: 5, ...options }))!;

  it('has an Airy disc of 10.38 µm at effective f/8 and 532 nm (published)', () => {
    const { pixels: _, ...without } = camera;
    const options = { ...without, pixelPitchUm: 2, magnification: 1, fNumber: 8, depthMm: 5 };
    const { points } = apertureCurve(stack({ ...options, wavelengthNm: 532 }))!;
    const point = points.find(({ markedFNumber }) => markedFNumber === 4)!;
    expect(point.effectiveFNumber).toBe(8);
    expect(2 * point.airyPx).toBeCloseTo(10.38, 2);
  });

  it.each([
    [1, 8, 0.5632],
    [2, 5.6, 0.1552],
  ])(
    'has at %f x and f/%f the depth of a quarter wave, %f mm (published), where no blur by rays counts',
    (magnification, fNumber, published) => {
      const { points } = curve({ magnification, fNumber: 4, circle: 0.0001 });
      const { depthOfFieldMm, effectiveFNumber } = points.find(
        ({ markedFNumber }) => markedFNumber === fNumber,
      )!;
      expect(depthOfFieldMm - (2 * 0.0001 * effectiveFNumber) / magnification ** 2).toBeCloseTo(published, 3);
    },
  );

  it('says of every aperture what a plan with it says', () => {
    for (const { markedFNumber, depthOfFieldMm, frames, airyPx } of curve({ magnification: 0.68, fNumber: 8 })
      .points) {
      const planned = stack({ ...camera, depthMm: 5, magnification: 0.68, fNumber: markedFNumber! });
      expect(planned.depth.combined.totalMm).toBeCloseTo(depthOfFieldMm, 12);
      expect(planned.frames).toBe(frames);
      expect(planned.sharpness.airyPx).toBeCloseTo(airyPx, 12);
    }
  });

  it('begins at the widest aperture of the lens, contains that of the plan, and of an objective lies around its own', () => {
    const { points } = curve({ magnification: 1, fNumber: 45, widestFNumber: 2.8 });
    expect(points[0].markedFNumber).toBe(2.8);
    expect(points.at(-1)?.markedFNumber).toBe(45);
    const objective = curve({ magnification: 10, numericalAperture: 0.25, depthMm: 0.4 });
    expect(objective.planned.effectiveFNumber).toBe(20);
    expect(objective.points[0].effectiveFNumber).toBeLessThan(10);
    expect(objective.points.at(-1)?.effectiveFNumber).toBeGreaterThan(40);
    const { pixels: _, ...without } = camera;
    expect(
      apertureCurve(stack({ ...without, circle: 0.02, magnification: 1, fNumber: 8, depthMm: 5 })),
    ).toBeNull();
  });
});
