import { beforeAll, describe, expect, it } from 'vitest';
import { at, KernelRig, type Plane } from './kernel-rig.js';
import { isContested, LabelKernels, randomScene, supportsAt } from './label-scene.js';
import { aggregateTwin, gatherTwin, labelTwin } from './label-twin.js';

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

/** Odd sizes, one smaller than the reach of the passes, of one and four levels, and a unit that is not whole. */
const cases = [
  [53, 37, 4, 1],
  [53, 37, 1, 1],
  [61, 21, 2, 1.63],
  [7, 5, 3, 1],
  [1, 9, 1, 1],
] as const;

function forEachPixel({ width, height }: Plane, visit: (x: number, y: number) => void): void {
  for (let y = 0; y < height; y++) for (let x = 0; x < width; x++) visit(x, y);
}

describe.each(cases)('%i x %i, %i levels, unit %f', (width, height, count, unit) => {
  const scene = randomScene(width, height, count, 3, unit);
  const isLarge = width > 10;

  it('gatherStrip turns rises into supports, and joins what both levels show', () => {
    const found = new LabelKernels(rig, scene).gather();
    const seen = { contested: 0, sure: 0, none: 0 };
    forEachPixel(found, (x, y) => {
      const { supports, contested } = gatherTwin(scene, x, y);
      expect({ supports: supportsAt(found, x, y), contested: isContested(found, x, y) }).toEqual({
        supports,
        contested,
      });
      if (contested) seen.contested++;
      else if (supports.some((support) => support > 0)) seen.sure++;
      else seen.none++;
    });
    if (isLarge) for (const pixels of Object.values(seen)) expect(pixels).toBeGreaterThan(20);
  });

  it.each([2, 6])('aggregateStrip averages contested supports over pixels alike, %i px apart', (hole) => {
    const kernels = new LabelKernels(rig, scene);
    const supports = kernels.gather();
    const found = kernels.aggregate(supports, hole);
    let [changed, misses, far, compared] = [0, 0, 0, 0];
    forEachPixel(found, (x, y) => {
      expect(isContested(found, x, y)).toBe(isContested(supports, x, y));
      if (!isContested(supports, x, y)) {
        expect(supportsAt(found, x, y)).toEqual(supportsAt(supports, x, y));
        return;
      }
      const expected = aggregateTwin(scene, supports, hole, x, y);
      supportsAt(found, x, y).forEach((support, n) => {
        // Fifteen bits a lane: within a step beyond rounding, but where two peaks are as near as such numbers can tell.
        if (Math.abs(support - expected[n]) > 1.5) far++;
        misses += Math.abs(support - expected[n]);
        compared++;
        if (support !== supportsAt(supports, x, y)[n]) changed++;
      });
    });
    if (isLarge) expect(changed).toBeGreaterThan(200);
    expect(far).toBeLessThanOrEqual(0.002 * compared);
    if (isLarge) expect(misses / compared).toBeLessThan(0.3);
  });

  it('labelStrip takes the candidate of the most support, or what a coarser level shows around', () => {
    const kernels = new LabelKernels(rig, scene);
    const supports = kernels.aggregate(kernels.gather(), 2);
    const labels = kernels.label(supports);
    const seen = { none: 0, fine: 0, coarse: 0 };
    forEachPixel(labels, (x, y) => {
      const label = at(labels, x, y);
      expect(label).toBe(labelTwin(scene, supports, x, y));
      if (label === 0) seen.none++;
      else if (Math.max(...supportsAt(supports, x, y)) >= 8) seen.fine++;
      else seen.coarse++;
    });
    if (isLarge) expect(Math.min(seen.none, seen.fine)).toBeGreaterThan(20);
    if (count === 4) expect(seen.coarse).toBeGreaterThan(20);
  });
});

it('supports of a candidate that three peaks share stay within their seven bits', () => {
  const scene = randomScene(16, 8, 2, 1, 2);
  for (const state of scene.states) {
    state.best.data.fill(9000);
    state.second.data.fill(9000);
  }
  const [fine, coarse] = scene.states;
  fine.before.data.fill(640);
  fine.secondOrdinal.data.fill(1200);
  // Three frames apart, each within reach of the one of level 0 that lies between them.
  coarse.before.data.fill(640 - 96);
  coarse.secondOrdinal.data.fill(640 + 96);
  const found = new LabelKernels(rig, scene).gather();
  forEachPixel(found, (x, y) => expect(supportsAt(found, x, y)).toEqual([127, 48, 0]));
});
