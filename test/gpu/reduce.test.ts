import { expect, it } from 'vitest';
import { finerRows } from '../../src/gpu/planes.js';
import { noise, reduced, worstDifference } from '../kernels/kernel-rig.js';
import { describeGpu, devices } from './gpu-rig.js';

const sizes = [
  [101, 77],
  [64, 48],
  [33, 90],
  [25, 24],
] as const;

describeGpu('reduce', (rig) => {
  const cases = devices.flatMap((which) => sizes.map(([width, height]) => ({ which, width, height })));

  it.each(cases)('reduces $width x $height planes as the formula says ($which)', async (given) => {
    const { which, width, height } = given;
    const gpu = rig[which];
    const pictures = [1, 2, 3].map((seed) => noise(width, height, seed));
    const fine = rig.store(gpu, pictures, 4);
    const coarse = gpu.takePlanes((width + 1) >> 1, (height + 1) >> 1, 3, 4);
    gpu.run('reduce', {}, { fine: { set: fine, rows: finerRows(2) }, coarse }, coarse);
    for (const [p, picture] of pictures.entries())
      expect(worstDifference(await rig.read(gpu, coarse, p), reduced(picture))).toBeLessThan(1e-4);
    gpu.release(fine, coarse);
  });
});
