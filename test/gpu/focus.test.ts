import { expect, it } from 'vitest';
import { finerRows, sameRows, wordsOf } from '../../src/gpu/planes.js';
import { codesOf, lumaOf } from '../kernels/focus-twin.js';
import { at, noiseRgb, pictureOf, reduced, worstDifference } from '../kernels/kernel-rig.js';
import { describeGpu, devices } from './gpu-rig.js';

/** Half a step of rounding, and a little for the fit of the logarithm: as of the processor's kernel. */
const codeTolerance = 0.75;

describeGpu('the measure of a frame', (rig) => {
  const cases = devices.flatMap((which) =>
    (
      [
        [201, 177, 8],
        [201, 177, 16],
        [64, 50, 8],
        [43, 49, 16],
      ] as const
    ).map(([width, height, bits]) => ({ which, width, height, bits })),
  );

  it.each(cases)('is that of the formula: $width x $height, $bits bits ($which)', async (given) => {
    const { which, width, height, bits } = given;
    const gpu = rig[which];
    const samples = noiseRgb(width, height, bits, width + bits);
    const frame = rig.storeFrame(gpu, samples, width, height);
    const lumas = gpu.takePlanes(width, height, 1, 4);
    const measures = gpu.takePlanes(width, height, 2, 2);
    const coarse = gpu.takePlanes((width + 1) >> 1, (height + 1) >> 1, 1, 4);
    const words = { width: wordsOf(width), height };
    // A spot of dust, as the processor masks it.
    const disc = { x: 20.3, y: 31.7, radius: 6.2 };
    const discs = gpu.takeTable(Float32Array.of(disc.x, disc.y, disc.radius, 0));
    gpu.run('luma', { bits }, { frame, luma: lumas, measures }, words);
    const halo = { set: lumas, rows: sameRows(3) };
    gpu.run('measure', { discCount: 1 }, { luma: halo, measures, discs }, words);
    gpu.run('reduce', {}, { fine: { set: lumas, rows: finerRows(2) }, coarse }, coarse);

    const luma = lumaOf(samples, width, height);
    const codes = codesOf(luma);
    const masked = pictureOf(width, height, (x, y) =>
      Math.hypot(x - disc.x, y - disc.y) <= disc.radius ? 0 : at(codes, x, y),
    );
    expect(worstDifference(await rig.read(gpu, measures, 0), masked)).toBeLessThan(codeTolerance);
    const times64 = pictureOf(width, height, (x, y) => 64 * at(luma, x, y));
    expect(worstDifference(await rig.read(gpu, measures, 1), times64)).toBeLessThan(0.51);
    expect(worstDifference(await rig.read(gpu, coarse), reduced(luma))).toBeLessThan(1e-3);
    gpu.release(frame, lumas, measures, coarse, discs);
  });

  it.each([8, 16] as const)('is 0 where the frame is flat (%i bits)', async (bits) => {
    const { gpu } = rig;
    const frame = rig.storeFrame(gpu, noiseRgb(40, 40, bits, 1).fill(2 ** (bits - 1)), 40, 40);
    const lumas = gpu.takePlanes(40, 40, 1, 4);
    const measures = gpu.takePlanes(40, 40, 2, 2);
    const discs = gpu.takeTable(16);
    gpu.run('luma', { bits }, { frame, luma: lumas, measures }, { width: 20, height: 40 });
    gpu.run('measure', { discCount: 0 }, { luma: lumas, measures, discs }, { width: 20, height: 40 });
    expect(Math.max(...(await rig.read(gpu, measures)).data)).toBe(0);
  });
});
