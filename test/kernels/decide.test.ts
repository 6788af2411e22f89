import { beforeAll, describe, expect, it } from 'vitest';
import { decideTwin, type Labelled, refineTwin, toneTwin } from './decide-twin.js';
import { depthIndexAt } from './focus-state.js';
import { at, KernelRig } from './kernel-rig.js';
import { LabelKernels, randomScene } from './label-scene.js';
import { unitsOf } from './label-twin.js';
import { tuned } from './tuned.js';

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

/** What plane 9 holds of a depth index: see assembly/curve-state.ts. */
const marks = { none: 0, gap: 0x8000, truncated: 1, leaked: 2 };

/** Logarithms of odds so near to even that the kernel's 32-bit numbers may fall on the other side. */
const even = 1e-3;

function decideScene(width: number, height: number, count: number, nearSign: number, unit: number) {
  const scene = randomScene(width, height, count, 5, unit);
  const kernels = new LabelKernels(rig, scene);
  const supports = kernels.aggregate(kernels.gather(), 2);
  const labels = kernels.label(supports);
  const given: Labelled = { scene, supports, labels, nearSign };
  return { given, found: kernels.decide(supports, labels, nearSign) };
}

/** What tones say, in steps, as it is kept above the supports. */
const toneStepsOf = (stored: number) =>
  ((stored >>> 24) & 127 || tuned('maxToneOdds') + 1) - tuned('maxToneOdds') - 1;

describe.each([
  [53, 37, 4, 1],
  [53, 37, 1, 1],
  [61, 21, 2, 1.63],
  [7, 5, 3, 1],
  [1, 9, 1, 1],
] as const)(
  'decideStrip and storeSurfaceStrip, %i x %i, %i levels, unit %f',
  (width, height, count, unit) => {
    it.each([-1, 0, 1])('tells the near surface from what is behind it, nearSign %i', (nearSign) => {
      const { given, found } = decideScene(width, height, count, nearSign, unit);
      const seen = { moved: 0, toned: 0, gap: 0, truncated: 0, leaked: 0, none: 0, refined: 0 };
      let compared = 0;
      for (let y = 0; y < height; y++) {
        for (let x = 0; x < width; x++) {
          const { decided, odds, ofTone } = decideTwin(given, x, y);
          if (Math.abs(odds) < even) continue;
          compared++;
          const steps = toneStepsOf(at(found.supports, x, y));
          const expected = refineTwin(given, { decided, ofTone: steps }, x, y);
          const where = `${x}, ${y}, label ${at(given.labels, x, y)}, decided ${decided}`;
          expect(at(found.decided, x, y), where).toBe(decided);
          expect(Math.abs(steps - ofTone), where).toBeLessThan(0.51);
          expect(at(found.ownTones, x, y), where).toBe(toneTwin(given, decided, x, y));
          const weight = at(found.weights, x, y);
          const certainty = at(found.certainties, x, y);
          expect(at(found.gaps, x, y), where).toBe(marks[expected.mark]);
          if (expected.depthIndex === undefined) {
            expect([at(found.depthIndices, x, y), weight, certainty], where).toEqual([0, 0, 0]);
            seen[expected.mark === 'truncated' ? 'truncated' : 'none']++;
            continue;
          }
          // Half a stored unit by rounding.
          expect(
            Math.abs(depthIndexAt(at(found.depthIndices, x, y)) - expected.depthIndex),
            where,
          ).toBeLessThan(0.51 / 64);
          // What is hardly sure does not lead its neighbours.
          expect(Math.abs(weight - 64 * expected.weight * (certainty / 255) ** 3), where).toBeLessThan(0.51);
          expect(Math.abs(certainty - expected.certainty), where).toBeLessThan(1);
          if (decided !== at(given.labels, x, y)) seen.moved++;
          if (steps !== 0) seen.toned++;
          if (expected.mark === 'gap') seen.gap++;
          if (expected.mark === 'leaked') seen.leaked++;
          if (expected.weight > 5) seen.refined++;
        }
      }
      expect(compared).toBeGreaterThan(0.99 * width * height);
      if (width < 10) return;
      for (const kind of ['gap', 'truncated', 'none', 'refined'] as const)
        expect(seen[kind], kind).toBeGreaterThan(20);
      if (count > 1) expect(seen.leaked).toBeGreaterThan(20);
      if (nearSign === 0) expect(seen.moved).toBe(0);
      else expect(Math.min(seen.moved, seen.toned)).toBeGreaterThan(20);
    });
  },
);

describe.each([1, 1.63])('storeSurfaceStrip, unit %f', (unit) => {
  it.each([-1, 0, 1])('leaves the peak that the surface goes through, nearSign %i', (nearSign) => {
    const [width, height] = [53, 37];
    const { given, found } = decideScene(width, height, 4, nearSign, unit);
    const [{ best, before, second, secondOrdinal }] = given.scene.states;
    const same = Math.trunc(unitsOf(tuned('sameUnits'), unit));
    const seen = { best: 0, second: 0, neither: 0, none: 0 };
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < width; x++) {
        const depthIndex = at(found.depthIndices, x, y);
        const isNear = (other: number) => other > 0 && Math.abs(other - depthIndex) < same;
        const own = [at(best, x, y), at(before, x, y)];
        const rival = [at(second, x, y), at(secondOrdinal, x, y)];
        const kind =
          depthIndex === 0 ? 'none' : isNear(own[1]) ? 'best' : isNear(rival[1]) ? 'second' : 'neither';
        const peak = { none: own, best: own, second: rival, neither: [0, depthIndex] }[kind];
        expect(
          [at(found.rises, x, y), at(found.peaks, x, y)],
          `${x}, ${y}, depthIndex ${depthIndex}`,
        ).toEqual(peak);
        seen[kind]++;
      }
    }
    for (const [kind, pixels] of Object.entries(seen)) expect(pixels, kind).toBeGreaterThan(20);
  });
});
