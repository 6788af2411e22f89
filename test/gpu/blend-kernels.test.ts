import { expect, it } from 'vitest';
import { warpAffine } from '../../src/gpu/blend.js';
import type { Gpu } from '../../src/gpu/device.js';
import { coarserRows, finerRows, type GpuPlanes, placedRows, sameRows } from '../../src/gpu/planes.js';
import { srgbCurve } from '../../src/image/transfer-curve.js';
import { lanczosTaps } from '../../src/kernels/kernels.js';
import {
  at,
  channelOf,
  expanded,
  noise,
  noiseRgb,
  type Plane,
  pictureOf,
  randomFrom,
  reduced,
  worstDifference,
} from '../kernels/kernel-rig.js';
import { lightAt } from '../kernels/light-twin.js';
import { motions, warped } from '../kernels/warp-twin.js';
import { describeGpu, devices, type GpuRig } from './gpu-rig.js';

const curve = [...srgbCurve, 0] as const;
const sizes = [
  [101, 77],
  [64, 48],
  [33, 90],
  [25, 24],
] as const;
const over = devices.flatMap((which) => sizes.map(([width, height]) => ({ which, width, height })));

async function expectPlanes(rig: GpuRig, gpu: Gpu, set: GpuPlanes, planes: readonly Plane[], within: number) {
  for (const [p, plane] of planes.entries())
    expect(worstDifference(await rig.read(gpu, set, p), plane), `plane ${p}`).toBeLessThan(within);
}

describeGpu(
  'the kernels of a blend',
  (rig) => {
    it.each(over)('halve a $width x $height frame in light ($which)', async ({ which, width, height }) => {
      const gpu = rig[which];
      const gains = [1.25, 1, 0.5];
      const out = gpu.takePlanes((width + 1) >> 1, (height + 1) >> 1, 3, 4);
      for (const bits of [8, 16] as const) {
        const samples = noiseRgb(width, height, bits, width);
        const frame = gpu.takeFrame(width, height, bits);
        gpu.writeTable(frame.buffer, samples);
        const [r, g, b] = gains.map((gain) => (bits === 16 ? gain / 257 : gain));
        const numbers = { gain: [r, g, b, 0] as const, curve, bits };
        gpu.run('reduceFrame', numbers, { frame: { set: frame, rows: finerRows(2) }, out }, out);
        const twins = gains.map((gain, c) => {
          const channel = channelOf(samples, width, height, c);
          return reduced(pictureOf(width, height, (x, y) => lightAt(srgbCurve, gain * at(channel, x, y))));
        });
        await expectPlanes(rig, gpu, out, twins, 3e-4);
        gpu.release(frame);
      }
      gpu.release(out);
    });

    const moved = devices.flatMap((which) => motions.map((one) => ({ which, ...one })));
    it.each(moved)('resample under $name ($which)', async ({ which, motion }) => {
      const gpu = rig[which];
      const [width, height] = [131, 95];
      // Smooth waves: at most 32 grey values per pixel steep, so 1/1024 px of rounding is at most 0.03.
      const channels = [0, 1, 2].map((c) =>
        pictureOf(width, height, (x, y) =>
          Math.fround(
            128 + 60 * Math.sin(x / 2.7 + c) * Math.cos(y / 3.1 - c) + 25 * Math.sin(x / 11 + y / 7),
          ),
        ),
      );
      const source = rig.store(gpu, channels, 4);
      const out = gpu.takePlanes(width, height, 3, 4);
      const taps = gpu.takeTable(lanczosTaps());
      const [a, b, c, d, e, f] = motion;
      const rows = placedRows({ d, e, f }, width, 5);
      const toSource = warpAffine({ a, b, c, d, e, f });
      gpu.run('warp', { toSource }, { source: { set: source, rows }, taps, out }, out);
      const twins = channels.map((channel) => warped(channel, 1, motion));
      await expectPlanes(rig, gpu, out, twins, 2e-3 * 255);
      gpu.release(source, out, taps);
    });

    it.each(devices)('invert the curve (%s)', async (which) => {
      const gpu = rig[which];
      const [width, height] = [137, 90];
      const samples = [1, 2, 3].map((seed) => noise(width, height, seed));
      // The darkest values too, where the curve is flattest.
      samples[0].data.forEach((_, i) => {
        if (i % 5 === 0) samples[0].data[i] = (i % 40) / 10;
      });
      const lights = samples.map((plane) =>
        pictureOf(width, height, (x, y) => Math.fround(lightAt(srgbCurve, at(plane, x, y)))),
      );
      const picture = rig.store(gpu, lights, 4);
      gpu.run('encode', { curve }, { picture }, picture);
      await expectPlanes(rig, gpu, picture, samples, 0.01);
      gpu.release(picture);
    });

    it.each(over)('collapse a level of $width x $height ($which)', async ({ which, width, height }) => {
      const gpu = rig[which];
      const random = randomFrom(9);
      const details = [1, 2, 3].map((seed) => noise(width, height, seed));
      // Some pixels that no frame reached: nothing accumulated, no weight.
      const weight = pictureOf(width, height, () => (random() < 0.1 ? 0 : Math.fround(0.3 + random())));
      const scaled = details.map((plane) =>
        pictureOf(width, height, (x, y) => at(plane, x, y) * at(weight, x, y)),
      );
      const coarser = [4, 5, 6].map((seed) => noise((width + 1) >> 1, (height + 1) >> 1, seed));
      const coarse = rig.store(gpu, coarser, 4);
      for (const hasCoarse of [0, 1]) {
        const sums = rig.store(gpu, [...scaled, weight], 4);
        gpu.run('collapse', { hasCoarse }, { coarse: { set: coarse, rows: coarserRows(1) }, sums }, sums);
        const twins = details.map((plane, c) => {
          const below = expanded(coarser[c], width, height);
          return pictureOf(
            width,
            height,
            (x, y) => (at(weight, x, y) > 0 ? at(plane, x, y) : 0) + hasCoarse * at(below, x, y),
          );
        });
        await expectPlanes(rig, gpu, sums, twins, 3e-4);
        gpu.release(sums);
      }
      gpu.release(coarse);
    });

    const depths = devices.flatMap((which) => ([8, 16] as const).map((bits) => ({ which, bits })));
    it.each(depths)('round and clamp to $bits bits ($which)', async ({ which, bits }) => {
      const gpu = rig[which];
      const [width, height] = [137, 75];
      const random = randomFrom(3);
      const [unit, top] = bits === 8 ? [1, 255] : [257, 65535];
      // Beyond both ends of the range; exact ties left out by the grid of thirds.
      const pictures = [0, 1, 2].map(() =>
        pictureOf(
          width,
          height,
          () => (1 / unit) * (Math.floor(random() * 1.4 * 2 ** bits - 0.2 * 2 ** bits) + 1 / 3),
        ),
      );
      const picture = rig.store(gpu, pictures, 4);
      const out = gpu.takeFrame(width, height, bits);
      const rows = sameRows(1);
      const threads = { width: Math.ceil(out.rowBytes / 4), height };
      gpu.run('quantise', { bits }, { picture: { set: picture, rows }, out }, threads);
      const ours = bits === 8 ? new Uint8Array(3 * width * height) : new Uint16Array(3 * width * height);
      await gpu.readTable(out.buffer, new Uint8Array(ours.buffer));
      const expected = ours.map((_, i) =>
        Math.max(0, Math.min(top, Math.round(pictures[i % 3].data[Math.floor(i / 3)] * unit))),
      );
      expect(ours).toEqual(expected);
      gpu.release(picture, out);
    });
  },
  { bandBytes: 48 << 10 },
);
