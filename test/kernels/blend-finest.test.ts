import { beforeAll, describe, expect, it } from 'vitest';
import { marginOf } from '../../src/image/frame-reach.js';
import { affineAtLevel } from '../../src/image/placed-frame.js';
import { identityMatrix, type Matrix3, similarityMatrix } from '../../src/image/transform.js';
import {
  at,
  KernelRig,
  noiseRgb,
  type Plane,
  pictureOf,
  randomFrom,
  stripRows,
  worstDifference,
} from './kernel-rig.js';

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

const tileColumns = 64;

describe('blendFinestStrip', () => {
  const [width, height, count] = [531, 45, 3];
  const motions: readonly Matrix3[] = [
    identityMatrix,
    similarityMatrix({ scale: 1.013, rollRad: 0.011, shiftXPx: 3.3, shiftYPx: -2.6 }, width, height),
    similarityMatrix({ scale: 0.98, rollRad: -0.004, shiftXPx: -5.1, shiftYPx: 4.2 }, width, height),
  ];
  const gains = [1, 0.93, 1.06] as const;
  const fractionBits = 6;

  /** Accumulated colours and weights of all frames, by tiles or by the warped picture as a whole. */
  function blend(
    bits: 8 | 16,
    samples: readonly number[],
    uses: Uint8Array | undefined,
    centres: Plane,
    reaches: Plane,
    lost = 0,
  ) {
    const acc = rig.arena.takeCleared(width, height, 3, 4);
    const sum = rig.arena.takeCleared(width, height, 1, 4);
    const [centre, reach] = [rig.storeCodes([centres]), rig.storeCodes([reaches])];
    const random = randomFrom(2);
    const coarse = rig.store(
      [0, 1, 2].map(() => pictureOf((width + 1) >> 1, (height + 1) >> 1, () => Math.fround(255 * random()))),
    );
    const picture = rig.arena.takePlanes(width, height, 3, 4);
    const usesAt = uses && rig.placeSamples(uses);
    motions.forEach((motion, k) => {
      const affine = affineAtLevel(motion, 0);
      const warped = [samples[k], bits, width, height, ...gains, ...affine, rig.taps];
      const from = [coarse.pointer, coarse.stride, coarse.planeBytes];
      const into = [acc.pointer, acc.planeBytes, sum.pointer, centre.pointer, reach.pointer, 0];
      into.push(k + 1, fractionBits);
      if (usesAt !== undefined) {
        const tail = [marginOf(motion), lost, usesAt, 1, 1 << 20];
        rig.run(
          'blendFinestStrip',
          [...warped, width, height, acc.stride, ...from, ...into, ...tail],
          height,
        );
        return;
      }
      const out = [picture.pointer, picture.stride, picture.planeBytes, width, height];
      rig.run('warpStrip', [...warped, ...out], height);
      const bounds = [...affine, width - 1, height - 1, marginOf(motion)];
      rig.run('accumulateStrip', [...out, ...from, ...into, ...bounds], height);
    });
    return { colours: [0, 1, 2].map((c) => rig.read(acc, c)), weights: rig.read(sum) };
  }

  const tilesAcross = Math.ceil(width / tileColumns);
  const tiles = tilesAcross * Math.ceil(height / stripRows);
  const random = randomFrom(11);
  const centres = pictureOf(width, height, (x) => Math.round(64 + (x / width) * (count - 1) * 64));
  // A tenth of the pixels names one more frame, in the high bits.
  const reaches = pictureOf(
    width,
    height,
    () => Math.floor(12 + random() * 25) + (random() < 0.1 ? 64 * Math.floor(1 + random() * count) : 0),
  );

  it.each([8, 16] as const)('equals the warp and the accumulation, %i bits, all tiles in use', (bits) => {
    const samples = motions.map((_, k) => rig.placeSamples(noiseRgb(width, height, bits, k)));
    const whole = blend(bits, samples, undefined, centres, reaches);
    const tiled = blend(bits, samples, new Uint8Array(tiles).fill(0b1110), centres, reaches);
    expect(Math.max(...whole.weights.data)).toBeGreaterThan(1);
    expect(worstDifference(tiled.weights, whole.weights)).toBeLessThan(1e-6);
    tiled.colours.forEach((colour, c) => {
      expect(worstDifference(colour, whole.colours[c])).toBeLessThan(2e-3);
    });
  });

  it('leaves out tiles that are not in use and no others', () => {
    // Smooth, as a run of tiles may sample 1/512 px from where the whole row does.
    const waves = Uint8Array.from({ length: width * height * 3 }, (_, i) => {
      const [x, y] = [Math.floor(i / 3) % width, Math.floor(i / 3 / width)];
      return 128 + 90 * Math.sin(x / 9 + (i % 3)) * Math.cos(y / 8);
    });
    const samples = motions.map(() => rig.placeSamples(waves));
    const uses = Uint8Array.from({ length: tiles }, () => (random() < 0.4 ? 0 : 0b1110));
    const whole = blend(8, samples, undefined, centres, reaches);
    const tiled = blend(8, samples, uses, centres, reaches);
    const isUsed = (x: number, y: number) =>
      uses[Math.floor(y / stripRows) * tilesAcross + Math.floor(x / tileColumns)] > 0;
    const kept = (plane: Plane) => pictureOf(width, height, (x, y) => (isUsed(x, y) ? at(plane, x, y) : 0));
    expect(worstDifference(tiled.weights, kept(whole.weights))).toBeLessThan(1e-6);
    tiled.colours.forEach((colour, c) => {
      expect(worstDifference(colour, kept(whole.colours[c]))).toBeLessThan(0.1);
    });
  });

  it('gives back what blur took, as far as the reach is narrow and the loss small', () => {
    const samples = motions.map((_, k) => rig.placeSamples(noiseRgb(width, height, 8, k)));
    // One frame alone, the second, so that its share is all there is.
    const uses = new Uint8Array(tiles).fill(0b100);
    const spread = pictureOf(width, height, (x) => Math.round(64 + (x / width) * (count - 1) * 64));
    const wide = pictureOf(width, height, (_, y) => (y % 2 === 0 ? 21 : 22));
    const lost = 1.3;
    const [plain, restored] = [0, lost].map((part) => blend(8, samples, uses, spread, wide, part));
    expect(worstDifference(restored.weights, plain.weights)).toBe(0);
    const growth = pictureOf(width, height, (x, y) => {
      const frames = Math.abs(2 - at(spread, x, y) / 64);
      return at(wide, x, y) === 21 ? 1 + Math.min(0.6, lost * frames ** 2) : 1;
    });
    restored.colours.forEach((colour, c) => {
      const expected = pictureOf(width, height, (x, y) => at(growth, x, y) * at(plain.colours[c], x, y));
      expect(worstDifference(colour, expected)).toBeLessThan(1e-3);
    });
    expect(worstDifference(restored.colours[1], plain.colours[1])).toBeGreaterThan(5);
  });
});
