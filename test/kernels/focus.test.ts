import { beforeAll, describe, expect, it } from 'vitest';
import { codesOf, lumaOf } from './focus-twin.js';
import {
  at,
  KernelRig,
  noise,
  noiseRgb,
  pictureOf,
  reduced,
  stripRows,
  worstDifference,
} from './kernel-rig.js';

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

/** Half a step of rounding, and a little for the fit of the logarithm. */
const codeTolerance = 0.75;

function focusFinest(samples: Uint8Array | Uint16Array, width: number, height: number) {
  const bits = samples instanceof Uint8Array ? 8 : 16;
  const codes = rig.arena.takePlanes(width, height, 1, 2);
  const luma = rig.arena.takePlanes(width, height, 1, 2);
  const coarse = rig.arena.takePlanes((width + 1) >> 1, (height + 1) >> 1, 1, 4);
  rig.run(
    'focusFinestStrip',
    [
      rig.placeSamples(samples),
      bits,
      width,
      height,
      codes.pointer,
      luma.pointer,
      codes.stride,
      coarse.pointer,
      coarse.stride,
    ],
    height,
  );
  return { codes: rig.read(codes), luma: rig.read(luma), coarse: rig.read(coarse) };
}

describe('focusFinestStrip', () => {
  const cases = [
    [101, 77, 8],
    [101, 77, 16],
    [64, 50, 8],
    [43, stripRows * 3 + 1, 16],
  ] as const;

  it.each(cases)('measures a %i x %i frame of %i bits', (width, height, bits) => {
    const samples = noiseRgb(width, height, bits, width + bits);
    const luma = lumaOf(samples, width, height);
    const ours = focusFinest(samples, width, height);
    expect(worstDifference(ours.codes, codesOf(luma))).toBeLessThan(codeTolerance);
    const lumaCodes = pictureOf(width, height, (x, y) => 64 * at(luma, x, y));
    expect(worstDifference(ours.luma, lumaCodes)).toBeLessThan(0.51);
    expect(worstDifference(ours.coarse, reduced(luma))).toBeLessThan(1e-3);
  });

  it.each([8, 16] as const)('gives a flat frame of %i bits the code 0', (bits) => {
    const samples = noiseRgb(40, 40, bits, 1).fill(2 ** (bits - 1));
    expect(Math.max(...focusFinest(samples, 40, 40).codes.data)).toBe(0);
  });
});

describe('focusStrip', () => {
  it.each([1, 0.01])('measures a luma plane at contrast %d', (contrast) => {
    const [width, height] = [51, 39];
    const random = noise(width, height, 4);
    const luma = pictureOf(width, height, (x, y) => Math.fround(100 + (at(random, x, y) - 128) * contrast));
    const placed = rig.store([luma]);
    const codes = rig.arena.takePlanes(width, height, 1, 2);
    rig.run(
      'focusStrip',
      [placed.pointer, placed.stride, width, height, codes.pointer, codes.stride],
      height,
    );
    expect(worstDifference(rig.read(codes), codesOf(luma))).toBeLessThan(codeTolerance);
  });
});
