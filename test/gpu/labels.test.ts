import { beforeAll, expect, it } from 'vitest';
import {
  averageSupports,
  decideSurface,
  gatherSupports,
  labelPixels,
  type SurfaceSetting,
} from '../../src/gpu/label-surface.js';
import { aggregateHoles } from '../../src/model/constants/surface.js';
import { fractionBits } from '../kernels/focus-state.js';
import { KernelRig, type Plane, pictureOf } from '../kernels/kernel-rig.js';
import {
  certaintiesOf,
  isContested,
  LabelKernels,
  lastFrame,
  randomScene,
  supportsAt,
} from '../kernels/label-scene.js';
import { describeGpu, devices, type GpuRig } from './gpu-rig.js';
import { placeStates } from './state-sets.js';
import { highHalf, lowHalf, readWords } from './words.js';

// Each kernel is held to what its form for the processor makes of the same scene; that form is held to a plain twin in
// test/kernels.

/** Odd sizes, one smaller than the reach of the passes, one of several bands, of one to four levels; units that are not whole. */
const cases = devices.flatMap((which) =>
  (
    [
      [53, 137, 4, 1],
      [53, 37, 1, 1],
      [61, 21, 2, 1.63],
      [7, 5, 3, 1],
      [1, 9, 1, 1],
    ] as const
  ).map(([width, height, count, unit]) => ({ which, width, height, count, unit })),
);

/** Values differ by `most` at most, and in few pixels: numbers that are rounded another way. */
function expectNear(found: Plane, expected: Plane, most: number, what: string): void {
  const apart = expected.data.map((value, i) => Math.abs(found.data[i] - value));
  expect(Math.max(...apart), what).toBeLessThanOrEqual(most);
  expect(apart.filter((difference) => difference > 0).length, what).toBeLessThanOrEqual(0.005 * apart.length);
}

describeGpu(
  'kernels of labels',
  (rig: GpuRig) => {
    let kernels: KernelRig;
    beforeAll(async () => {
      kernels = await KernelRig.start();
    });

    const setting = (unit: number, nearSign = 0): SurfaceSetting => ({
      ...{ frames: lastFrame, nearSign, unit, fractionBits },
    });

    it.each(cases)(
      'gather and aggregate, $width x $height, $count levels, unit $unit ($which)',
      async (given) => {
        const { which, width, height, count, unit } = given;
        const gpu = rig[which];
        const scene = randomScene(width, height, count, 3, unit);
        const state = placeStates(rig, gpu, scene.states);
        const of = new LabelKernels(kernels, scene);
        const supports = gpu.takePlanes(width, height, 1, 4);
        gatherSupports(gpu, state, supports, setting(unit));
        const expected = of.gather();
        expect((await readWords(gpu, supports)).data).toEqual(expected.data);
        for (const hole of aggregateHoles) {
          const averaged = gpu.takePlanes(width, height, 1, 4);
          averageSupports(gpu, state, supports, averaged, hole, setting(unit));
          const [found, wanted] = [await readWords(gpu, averaged), of.aggregate(expected, hole)];
          const contested = (of: Plane) => pictureOf(width, height, (x, y) => Number(isContested(of, x, y)));
          expect(contested(found)).toEqual(contested(wanted));
          for (const n of [0, 1, 2]) {
            const support = (of: Plane) => pictureOf(width, height, (x, y) => supportsAt(of, x, y)[n]);
            expectNear(support(found), support(wanted), 1, `hole ${hole}, candidate ${n}`);
          }
          gpu.release(averaged);
        }
        gpu.release(...state, supports);
      },
    );

    it.each(cases)('label, $width x $height, $count levels, unit $unit ($which)', async (given) => {
      const { which, width, height, count, unit } = given;
      const gpu = rig[which];
      const scene = randomScene(width, height, count, 4, unit);
      const state = placeStates(rig, gpu, scene.states);
      const of = new LabelKernels(kernels, scene);
      const averaged = of.aggregate(of.gather(), 2);
      const supports = rig.storeWords(gpu, [averaged]);
      const labels = gpu.takePlanes(width, height, 1, 4);
      labelPixels(gpu, state, supports, labels, setting(unit));
      expect(await readWords(gpu, labels)).toEqual(of.label(averaged));
      gpu.release(...state, supports, labels);
    });

    it.each(cases)('decide, $width x $height, $count levels, unit $unit ($which)', async (given) => {
      const { which, width, height, count, unit } = given;
      const gpu = rig[which];
      for (const nearSign of [-1, 0, 1]) {
        const scene = randomScene(width, height, count, 5, unit);
        const state = placeStates(rig, gpu, scene.states);
        const of = new LabelKernels(kernels, scene);
        const supports = of.aggregate(of.gather(), 2);
        const labels = of.label(supports);
        const [surface, given] = [supports, labels].map((plane) => rig.storeWords(gpu, [plane]));
        const known = gpu.takeTable(4);
        decideSurface(gpu, state, given, surface, known, setting(unit, nearSign));
        const expected = of.decide(supports, labels, nearSign);
        const found = await readWords(gpu, surface);
        const what = `nearSign ${nearSign}`;
        expectNear(lowHalf(found), expected.depthIndices, 1, what);
        expectNear(highHalf(found), expected.weights, 1, what);
        const [rises, peaks, gaps, stored] = await Promise.all(
          [0, 1, 9, 10].map((plane) => rig.read(gpu, state[0], plane)),
        );
        expect(rises).toEqual(expected.rises);
        expectNear(peaks, expected.peaks, 1, what);
        expect(gaps).toEqual(expected.gaps);
        const { certainties, ownTones } = certaintiesOf(stored);
        expectNear(certainties, expected.certainties, 1, what);
        expectNear(ownTones, expected.ownTones, 0, what);
        const counted = new Uint32Array(1);
        await gpu.readTable(known, new Uint8Array(counted.buffer));
        expect(counted[0]).toBe(expected.weights.data.filter((weight) => weight > 0).length);
        gpu.release(...state, surface, given, known);
      }
    });
  },
  {
    bandBytes: 1 << 17,
  },
);
