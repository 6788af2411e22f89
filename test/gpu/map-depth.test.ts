import { expect, it } from 'vitest';
import { sameRows, wordsOf } from '../../src/gpu/planes.js';
import { edgeReach, ringRadius, shareRadius } from '../../src/model/constants/surface.js';
import { at, pictureOf } from '../kernels/kernel-rig.js';
import {
  certaintyTwin,
  loweredCertainty,
  mapDepthTwin,
  randomMapScene,
  same,
} from '../kernels/map-depth-scene.js';
import { describeGpu, devices } from './gpu-rig.js';
import { joinHalves } from './words.js';

const leastEnergy = 4000;

describeGpu('the depth of the map', (rig) => {
  const cases = devices.flatMap((which) =>
    (
      [
        [131, 270, 1],
        [131, 70, -1],
        [9, 20, 1],
        [1, 5, -1],
      ] as const
    ).map(([width, height, nearSign]) => ({ which, width, height, nearSign })),
  );

  /** A scene on a device, marked. */
  function markScene({ which, width, height, nearSign }: (typeof cases)[number]) {
    const gpu = rig[which];
    const scene = randomMapScene(width, height, nearSign);
    const blank = pictureOf(width, height, () => 0xa7a7);
    const surface = rig.storeWords(gpu, [joinHalves(scene.depthIndices, blank)]);
    const state = rig.store(gpu, [...new Array<typeof blank>(10).fill(blank), scene.stored], 2);
    const marks = gpu.takePlanes(width, height, 1, 4);
    const pairs = { width: wordsOf(width), height };
    const sets = {
      surface: { set: surface, rows: sameRows(edgeReach) },
      state: { set: state, rows: sameRows(1) },
    };
    gpu.run('markDepthEdges', { nearSign, same, leastEnergy }, { ...sets, marks }, pairs);
    return { gpu, scene, surface, state, marks, pairs };
  }

  it.each(cases)(
    'is that of its plain twin, $width x $height, nearSign $nearSign ($which)',
    async (given) => {
      const { width, height, nearSign } = given;
      const { gpu, scene, surface, state, marks, pairs } = markScene(given);
      const indices = gpu.takePlanes(width, height, 1, 2);
      gpu.run(
        'mapDepth',
        { nearSign, same },
        { marks: { set: marks, rows: sameRows(shareRadius) }, state, indices },
        pairs,
      );
      const mapped = await rig.read(gpu, indices);
      const certainties = await rig.read(gpu, state, 10);
      for (let y = 0; y < height; y++) {
        for (let x = 0; x < width; x++) {
          const { depthIndex, sure, margin } = mapDepthTwin(scene, x, y);
          if (margin < 1e-3) continue;
          const [least, most] = loweredCertainty(at(scene.stored, x, y), sure);
          expect(at(certainties, x, y), `${x}, ${y}`).toBeGreaterThanOrEqual(least);
          expect(at(certainties, x, y), `${x}, ${y}`).toBeLessThanOrEqual(most);
          expect(Math.abs(at(mapped, x, y) - depthIndex), `${x}, ${y}`).toBeLessThanOrEqual(1);
        }
      }
      gpu.release(surface, state, marks, indices);
    },
  );

  it.each(cases)(
    'is as sure as its plain twin says, $width x $height, nearSign $nearSign ($which)',
    async (given) => {
      const { width, height } = given;
      const { gpu, scene, surface, state, marks, pairs } = markScene(given);
      const indices = rig.store(gpu, [scene.depthIndices], 2);
      const rows = sameRows(ringRadius);
      gpu.run(
        'halveOneSided',
        { same },
        { indices: { set: indices, rows }, marks: { set: marks, rows }, state },
        pairs,
      );
      const certainties = await rig.read(gpu, state, 10);
      for (let y = 0; y < height; y++) {
        for (let x = 0; x < width; x++) {
          const expected = certaintyTwin(scene, x, y, leastEnergy);
          expect(at(certainties, x, y), `${x}, ${y}`).toBe(expected);
        }
      }
      gpu.release(surface, state, indices, marks);
    },
  );
});
