import { beforeAll, expect, it } from 'vitest';
import { coarserRows, sameRows, wordsOf } from '../../src/gpu/planes.js';
import { bestOrdinalPlane } from '../../src/model/constants/state.js';
import { KernelRig, noise, type Plane, pictureOf, randomFrom } from '../kernels/kernel-rig.js';
import { describeGpu, devices } from './gpu-rig.js';
import { highHalf, joinHalves, lowHalf, readWords } from './words.js';

// Each kernel is held to its form for the processor, which is held to its formula in test/kernels.

const fractionBits = 6;

describeGpu('kernels of a surface at half the size', (rig) => {
  let kernels: KernelRig;
  beforeAll(async () => {
    kernels = await KernelRig.start();
  });

  const sizes = [
    [53, 301],
    [30, 22],
    [3, 1],
  ] as const;
  const cases = devices.flatMap((which) => sizes.map(([width, height]) => ({ which, width, height })));

  it.each(cases)('enlarge, $width x $height ($which)', async ({ which, width, height }) => {
    const gpu = rig[which];
    const random = randomFrom(width);
    const [w, h] = [(width + 1) >> 1, (height + 1) >> 1];
    const indices = pictureOf(w, h, (x, y) =>
      Math.floor(((((x >> 2) + (y >> 2)) % 2 === 0 ? 6 : 11) + 1.6 * random()) * 2 ** fractionBits),
    );
    const weights = pictureOf(w, h, () => Math.floor(random() * 32_768));
    const ordinals = pictureOf(width, height, () => Math.floor(random() * 12));
    const same = 77;
    const [from, of, to] = [indices, ordinals, ordinals].map((plane) => kernels.storeCodes([plane]));
    kernels.run(
      'enlargeStrip',
      [from.pointer, from.stride, w, h, of.pointer, to.pointer, to.stride, width, height, same, fractionBits],
      height,
    );
    const coarse = rig.storeWords(gpu, [joinHalves(indices, weights)]);
    const blank = pictureOf(width, height, () => 0);
    const picks = rig.store(gpu, [...new Array<Plane>(bestOrdinalPlane).fill(blank), ordinals], 2);
    const surface = gpu.takePlanes(width, height, 1, 4);
    gpu.run(
      'enlarge',
      { same, fractionBits },
      { coarse: { set: coarse, rows: coarserRows(1) }, picks, surface },
      surface,
    );
    const found = await readWords(gpu, surface);
    expect(lowHalf(found)).toEqual(kernels.read(to));
    expect(highHalf(found)).toEqual(
      pictureOf(width, height, (x, y) => weights.data[(y >> 1) * w + (x >> 1)]),
    );
    gpu.release(coarse, picks, surface);
  });

  it.each(cases)('luma in whole numbers, $width x $height ($which)', async ({ which, width, height }) => {
    const gpu = rig[which];
    const luma = noise(width, height, 4);
    const [from, to] = [kernels.store([luma]), kernels.storeCodes([luma])];
    kernels.run('lumaCodesStrip', [from.pointer, from.stride, width, height, to.pointer, to.stride], height);
    const expected = kernels.read(to);
    expect(expected).toEqual(
      pictureOf(width, height, (x, y) => Math.floor(64 * luma.data[y * width + x] + 0.5)),
    );
    const set = rig.store(gpu, [luma], 4);
    const measures = gpu.takePlanes(width, height, 2, 2);
    gpu.run(
      'lumaCodes',
      {},
      { luma: { set, rows: sameRows() }, measures },
      { width: wordsOf(width), height },
    );
    expect(await rig.read(gpu, measures, 1)).toEqual(expected);
    gpu.release(set, measures);
  });
});
