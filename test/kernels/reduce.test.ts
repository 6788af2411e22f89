import { beforeAll, describe, expect, it } from 'vitest';
import { linearCurve, srgbCurve } from '../../src/image/transfer-curve.js';
import {
  at,
  channelOf,
  KernelRig,
  noise,
  noiseRgb,
  pictureOf,
  reduced,
  worstDifference,
} from './kernel-rig.js';
import { lightAt } from './light-twin.js';

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

const sizes = [
  [101, 77],
  [64, 48],
  [33, 90],
  [25, 24],
] as const;

describe('encodeStrip', () => {
  it.each([{ curve: linearCurve }, { curve: srgbCurve }])(
    'inverts the curve $curve, row ends included',
    ({ curve }) => {
      const [width, height] = [37, 20];
      const samples = [1, 2, 3].map((seed) => noise(width, height, seed));
      // The darkest values too, where the curve is flattest.
      samples[0].data.forEach((_, i) => {
        if (i % 5 === 0) samples[0].data[i] = (i % 40) / 10;
      });
      const lights = samples.map((plane) =>
        pictureOf(width, height, (x, y) => Math.fround(lightAt(curve, at(plane, x, y)))),
      );
      const planes = rig.store(lights);
      rig.run(
        'encodeStrip',
        [planes.pointer, planes.stride, planes.planeBytes, width, height, ...curve],
        height,
      );
      samples.forEach((plane, p) => {
        expect(worstDifference(rig.read(planes, p), plane)).toBeLessThan(0.01);
      });
      const row = rig.arena.f32(planes.pointer - 32, width + 16);
      for (let i = 1; i <= 8; i++) expect(row[8 - i]).toBe(row[8 + i]);
    },
  );
});

describe('reduceStrip', () => {
  it.each(sizes)('reduces %i x %i planes as the formula says', (width, height) => {
    const pictures = [1, 2, 3].map((seed) => noise(width, height, seed));
    const fine = rig.store(pictures);
    const coarse = rig.arena.takePlanes((width + 1) >> 1, (height + 1) >> 1, 3, 4);
    rig.run(
      'reduceStrip',
      [
        fine.pointer,
        fine.stride,
        fine.planeBytes,
        width,
        height,
        coarse.pointer,
        coarse.stride,
        coarse.planeBytes,
        3,
      ],
      coarse.height,
    );
    pictures.forEach((picture, p) => {
      expect(worstDifference(rig.read(coarse, p), reduced(picture))).toBeLessThan(1e-4);
    });
    // The row ends, which the next filter reads, continue the row mirrored.
    const start = coarse.pointer + 5 * coarse.stride * 4;
    const row = rig.arena.f32(start - 32, coarse.width + 16);
    for (let i = 1; i <= 8; i++) {
      expect(row[8 - i]).toBe(row[8 + i]);
      expect(row[7 + coarse.width + i]).toBe(row[7 + coarse.width - i]);
    }
  });
});

describe('reduceFrameStrip', () => {
  const cases = sizes.flatMap(([width, height]) =>
    ([8, 16] as const).flatMap((bits) =>
      [linearCurve, srgbCurve].map((curve) => ({ width, height, bits, curve })),
    ),
  );

  it.each(cases)(
    'halves a $width x $height frame of $bits bits, curve $curve',
    ({ width, height, bits, curve }) => {
      const samples = noiseRgb(width, height, bits, width);
      const [halfWidth, halfHeight] = [(width + 1) >> 1, (height + 1) >> 1];
      const out = rig.arena.take(halfWidth * halfHeight * 16 + 64);
      const gains = [1.25, 1, 0.5];
      rig.run(
        'reduceFrameStrip',
        [rig.placeSamples(samples), bits, width, height, ...gains, ...curve, out],
        halfHeight,
      );
      const half = rig.arena.f32(out, halfWidth * halfHeight * 4);
      for (let c = 0; c < 3; c++) {
        const channel = channelOf(samples, width, height, c);
        const light = pictureOf(width, height, (x, y) => lightAt(curve, at(channel, x, y) * gains[c]));
        const ours = pictureOf(halfWidth, halfHeight, (x, y) => half[(y * halfWidth + x) * 4 + c]);
        expect(worstDifference(ours, reduced(light))).toBeLessThan(2e-4);
      }
    },
  );

  it.each([8, 16] as const)('keeps a white frame of %i bits white', (bits) => {
    const [width, height] = [31, 29];
    const samples = noiseRgb(width, height, bits, 1).fill(2 ** bits - 1);
    const out = rig.arena.take(16 * 15 * 16 + 64);
    rig.run(
      'reduceFrameStrip',
      [rig.placeSamples(samples), bits, width, height, 1, 1, 1, ...srgbCurve, out],
      15,
    );
    const half = rig.arena.f32(out, 16 * 15 * 4).filter((_, i) => i % 4 < 3);
    for (const value of half) expect(value).toBeCloseTo(255, 4);
  });
});
