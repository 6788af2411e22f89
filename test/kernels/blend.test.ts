import { beforeAll, describe, expect, it } from 'vitest';
import { srgbCurve } from '../../src/image/transfer-curve.js';
import type { Planes } from '../../src/kernels/arena.js';
import {
  at,
  expanded,
  KernelRig,
  noise,
  noiseRgb,
  type Plane,
  pictureOf,
  randomFrom,
  stripRows,
  worstDifference,
} from './kernel-rig.js';
import { tuned } from './tuned.js';

const frontWeight = tuned('frontWeight');

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

const sizes = [
  [101, 77],
  [72, 50],
] as const;

type Affine = readonly [number, number, number, number, number, number];

function weightOf(ordinal: number, centre: number, reach: number): number {
  const t = (ordinal - centre / 64) / (reach / 64);
  return Math.abs(t) < 1 ? (1 - t * t) ** 2 : 0;
}

function accumulate(
  picture: Planes,
  coarse: Planes | undefined,
  sums: { acc: Planes; weight: Planes; centre: Planes; reach: Planes },
  ordinal: number,
  motion: Affine,
  margin: number,
  fractionBits = 6,
): void {
  const { width, height } = picture;
  rig.run(
    'accumulateStrip',
    [
      picture.pointer,
      picture.stride,
      picture.planeBytes,
      width,
      height,
      coarse?.pointer ?? 0,
      coarse?.stride ?? 0,
      coarse?.planeBytes ?? 0,
      sums.acc.pointer,
      sums.acc.planeBytes,
      sums.weight.pointer,
      sums.centre.pointer,
      sums.reach.pointer,
      sums.reach.planes > 1 ? sums.reach.planeBytes : 0,
      ordinal,
      fractionBits,
      ...motion,
      width - 1,
      height - 1,
      margin,
    ],
    height,
  );
}

describe('accumulateStrip', () => {
  const cases = sizes.flatMap(([width, height]) =>
    [true, false].map((finer) => ({ width, height, finer, level: finer ? 'a finer' : 'the coarsest' })),
  );

  it.each(cases)('adds weighted detail of $level level, $width x $height', ({ width, height, finer }) => {
    const random = randomFrom(5);
    const centres = pictureOf(width, height, (x) => Math.floor(64 + (x / width) * 4 * 64));
    // 1/16 frame.
    const reaches = pictureOf(width, height, () => Math.floor(10 + random() * 30));
    // A fifth of the pixels names one more frame, one that may have a weight already or none.
    const named = pictureOf(width, height, () => (random() < 0.2 ? Math.floor(1 + random() * 4) : 0));
    const packed = pictureOf(width, height, (x, y) => at(reaches, x, y) + 64 * at(named, x, y));
    const sums = {
      acc: rig.arena.takeCleared(width, height, 3, 4),
      weight: rig.arena.takeCleared(width, height, 1, 4),
      centre: rig.storeCodes([centres]),
      reach: rig.storeCodes([packed]),
    };
    const margin = 2;
    // Whole-pixel motions: which pixels a frame reaches is then plain.
    const shifts = [
      [0, 0],
      [7, -5],
      [-9, 4],
      [0, 11],
    ] as const;
    const weight = pictureOf(width, height, () => 0);
    const acc = [0, 1, 2].map(() => pictureOf(width, height, () => 0));
    shifts.forEach(([right, down], k) => {
      const pictures = [0, 1, 2].map((c) => noise(width, height, 10 * k + c));
      const coarse = [0, 1, 2].map((c) => noise((width + 1) >> 1, (height + 1) >> 1, 10 * k + c + 5));
      const placed = finer ? rig.store(coarse) : undefined;
      accumulate(rig.store(pictures), placed, sums, k + 1, [1, 0, right, 0, 1, down], margin);
      const coarser = finer ? coarse.map((plane) => expanded(plane, width, height)) : undefined;
      const inside = (i: number, n: number) => i >= margin && i <= n - 1 - margin;
      for (let y = 0; y < height; y++) {
        for (let x = 0; x < width; x++) {
          if (!inside(x + right, width) || !inside(y + down, height)) continue;
          const w = weightOf(k + 1, at(centres, x, y), 4 * at(reaches, x, y));
          const i = y * width + x;
          weight.data[i] += w;
          const more = at(named, x, y) === k + 1 ? frontWeight : 0;
          pictures.forEach((plane, c) => {
            acc[c].data[i] += (w + more) * (plane.data[i] - (coarser?.[c].data[i] ?? 0));
          });
        }
      }
    });
    expect(Math.max(...weight.data)).toBeGreaterThan(0.9);
    expect(worstDifference(rig.read(sums.weight), weight)).toBeLessThan(1e-5);
    acc.forEach((plane, c) => {
      expect(worstDifference(rig.read(sums.acc, c), plane)).toBeLessThan(2e-3);
    });
  });

  it('blends alike with fewer fraction bits, and with the added frame in a plane of its own', () => {
    const [width, height] = [72, 50];
    const random = randomFrom(6);
    // Multiples of 1/16 frame about ordinal 3, so that four fraction bits hold them.
    const sixteenths = pictureOf(width, height, () => Math.floor(16 + random() * 64));
    const reaches = pictureOf(width, height, () => Math.floor(10 + random() * 30));
    const named = pictureOf(width, height, () => (random() < 0.3 ? 3 : 0));
    const picture = rig.store([0, 1, 2].map((c) => noise(width, height, c)));
    const blended = (fractionBits: number, maps: Plane[]) => {
      const sums = {
        acc: rig.arena.takeCleared(width, height, 3, 4),
        weight: rig.arena.takeCleared(width, height, 1, 4),
        centre: rig.storeCodes([
          pictureOf(width, height, (x, y) => at(sixteenths, x, y) << (fractionBits - 4)),
        ]),
        reach: rig.storeCodes(maps),
      };
      accumulate(picture, undefined, sums, 3, [1, 0, 0, 0, 1, 0], 0, fractionBits);
      return [rig.read(sums.weight), ...[0, 1, 2].map((c) => rig.read(sums.acc, c))];
    };
    const packed = pictureOf(width, height, (x, y) => at(reaches, x, y) + 64 * at(named, x, y));
    const plain = blended(6, [packed]);
    expect(Math.max(...plain[0].data)).toBeGreaterThan(0.9);
    for (const bits of [5, 4]) {
      expect(blended(bits, [packed])).toEqual(plain);
      expect(blended(bits, [reaches, named])).toEqual(plain);
    }
  });
});

describe('encodeUsedStrip', () => {
  it('encodes level 1 as a whole wherever the frame has weight there or at the finest level, and not all of it', () => {
    const [full, tileColumns, ordinal] = [{ width: 461, height: 153 }, 64, 3];
    const [width, height] = [231, 77];
    const random = randomFrom(11);
    const lights = [1, 2, 3].map((seed) => noise(width, height, seed));
    const [own, whole] = [rig.store(lights), rig.store(lights)];
    // A frame away with a reach of a frame at most: no weight but in few pixels, or where the frame is named.
    const isRare = () => random() < 0.0004;
    const centres = pictureOf(width, height, () => 64 * (isRare() ? 3 : 1));
    const reaches = pictureOf(width, height, () => (isRare() ? 64 * ordinal : 0) + 12);
    const [across, down] = [Math.ceil(full.width / tileColumns), Math.ceil(full.height / stripRows)];
    const used = Array.from({ length: across * down }, () => random() < 0.05);
    const uses = rig.arena.take(across * down);
    rig.arena.u8(uses, across * down).set(used.map((is) => (is ? 1 << ordinal : 1)));
    const of = (planes: Planes) => [
      planes.pointer,
      planes.stride,
      planes.planeBytes,
      width,
      height,
      ...srgbCurve,
    ];
    const maps = [rig.storeCodes([centres]).pointer, rig.storeCodes([reaches]).pointer, 0, ordinal, 6];
    rig.run('encodeUsedStrip', [...of(own), ...maps, uses, 1, full.width, full.height], height);
    rig.run('encodeStrip', of(whole), height);
    const isUsed = (x: number, y: number) =>
      used[
        Math.floor(Math.min(full.height - 1, Math.max(0, y)) / stripRows) * across +
          Math.floor(Math.min(full.width - 1, Math.max(0, x)) / tileColumns)
      ];
    const wanted = (x: number, y: number) =>
      weightOf(ordinal, at(centres, x, y), (at(reaches, x, y) % 64) * 4) > 0 ||
      at(reaches, x, y) >= 64 ||
      // The expansion to a pixel reads two about the one below it.
      [-4, 0, 5].some((j) => [-4, 0, 5].some((i) => isUsed(2 * x + i, 2 * y + j)));
    let left = 0;
    const wrong: string[] = [];
    for (let c = 0; c < 3; c++) {
      const [ours, theirs] = [rig.read(own, c), rig.read(whole, c)];
      for (let y = 0; y < height; y++) {
        for (let x = 0; x < width; x++) {
          if (wanted(x, y) && at(ours, x, y) !== at(theirs, x, y)) wrong.push(`${c}: ${x} ${y}`);
          if (at(ours, x, y) === at(lights[c], x, y)) left++;
        }
      }
    }
    expect(wrong).toEqual([]);
    expect(left).toBeGreaterThan(0.2 * 3 * width * height);
  });
});

describe('collapseStrip', () => {
  it.each(sizes)('divides by the weights and adds the expansion, %i x %i', (width, height) => {
    const random = randomFrom(9);
    const details = [1, 2, 3].map((seed) => noise(width, height, seed));
    // Some pixels that no frame reached: nothing accumulated, no weight.
    const weight = pictureOf(width, height, () => (random() < 0.1 ? 0 : Math.fround(0.3 + random())));
    const scaled = details.map((plane) =>
      pictureOf(width, height, (x, y) => at(plane, x, y) * at(weight, x, y)),
    );
    const coarse = [4, 5, 6].map((seed) => noise((width + 1) >> 1, (height + 1) >> 1, seed));
    const run = (coarser: Planes | undefined) => {
      const acc = rig.store(scaled);
      rig.run(
        'collapseStrip',
        [
          acc.pointer,
          acc.stride,
          acc.planeBytes,
          width,
          height,
          rig.store([weight]).pointer,
          coarser?.pointer ?? 0,
          coarser?.stride ?? 0,
          coarser?.planeBytes ?? 0,
        ],
        height,
      );
      return [0, 1, 2].map((c) => rig.read(acc, c));
    };
    const detailAt = (c: number, x: number, y: number) => (at(weight, x, y) > 0 ? at(details[c], x, y) : 0);
    run(undefined).forEach((plane, c) => {
      expect(
        worstDifference(
          plane,
          pictureOf(width, height, (x, y) => detailAt(c, x, y)),
        ),
      ).toBeLessThan(1e-4);
    });
    run(rig.store(coarse)).forEach((plane, c) => {
      const below: Plane = expanded(coarse[c], width, height);
      const sum = pictureOf(width, height, (x, y) => detailAt(c, x, y) + at(below, x, y));
      expect(worstDifference(plane, sum)).toBeLessThan(2e-4);
    });
  });
});

describe('quantiseStrip', () => {
  it.each([8, 16] as const)('rounds and clamps to %i bits', (bits) => {
    const [width, height] = [37, 35];
    const random = randomFrom(3);
    // Beyond both ends of the range; 16 bits: exact ties left out by the grid of thirds.
    const pictures = [0, 1, 2].map(() =>
      pictureOf(
        width,
        height,
        () => (bits === 8 ? 1 : 1 / 257) * (Math.floor(random() * 1.4 * 2 ** bits - 0.2 * 2 ** bits) + 1 / 3),
      ),
    );
    const planes = rig.store(pictures);
    const ones = rig.store([pictureOf(width, height, () => 1)]);
    const top = 2 ** bits - 1;
    const out = rig.placeSamples(noiseRgb(width, height, bits, 1));
    rig.run(
      'quantiseStrip',
      [planes.pointer, planes.stride, planes.planeBytes, width, height, ones.pointer, 0, 0, 0, out, bits],
      height,
    );
    const length = width * height * 3;
    const ours = bits === 8 ? rig.arena.u8(out, length) : rig.arena.u16(out, length);
    const expected = Array.from({ length }, (_, i) => {
      const value = pictures[i % 3].data[Math.floor(i / 3)] * (bits === 8 ? 1 : 257);
      return Math.max(0, Math.min(top, Math.round(value)));
    });
    expect(Math.min(...expected)).toBe(0);
    expect(Math.max(...expected)).toBe(top);
    expect(Array.from(ours)).toEqual(expected);
  });

  it.each([8, 16] as const)('collapses as collapseStrip does, to %i bits', (bits) => {
    const [width, height] = [53, 34];
    const weight = noise(width, height, 4);
    const sums = [1, 2, 3].map((seed) => {
      const shares = noise(width, height, seed);
      return pictureOf(width, height, (x, y) => 0.5 * at(weight, x, y) * (at(shares, x, y) / 255));
    });
    const coarse = rig.store([5, 6, 7].map((seed) => noise(27, 17, seed)));
    const terms = (acc: Planes) => [
      ...[acc.pointer, acc.stride, acc.planeBytes, width, height, rig.store([weight]).pointer],
      ...[coarse.pointer, coarse.stride, coarse.planeBytes],
    ];
    const collapsed = rig.store(sums);
    rig.run('collapseStrip', terms(collapsed), height);
    const out = rig.placeSamples(noiseRgb(width, height, bits, 1));
    rig.run('quantiseStrip', [...terms(rig.store(sums)), out, bits], height);
    const length = width * height * 3;
    const ours = bits === 8 ? rig.arena.u8(out, length) : rig.arena.u16(out, length);
    const planes = [0, 1, 2].map((c) => rig.read(collapsed, c).data);
    const [unit, top] = bits === 8 ? [1, 255] : [257, 65535];
    const expected = Array.from({ length }, (_, i) => {
      const value = Math.fround(Math.fround(planes[i % 3][Math.floor(i / 3)] * unit) + 0.5);
      return Math.floor(Math.max(0, Math.min(top, value)));
    });
    expect(Array.from(ours)).toEqual(expected);
  });
});
