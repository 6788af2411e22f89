import { expect, it } from 'vitest';
import { cellSizes, leastWeight, spillPoints, spillSamples } from '../../src/blend/spill.js';
import { spillReaches } from '../../src/blend/spill-reaches.js';
import { findGpuSpill } from '../../src/gpu/spill.js';
import { blurShare, maxSpillPx, plainShare } from '../../src/model/constants/blend.js';
import { minApartFrames } from '../../src/model/constants/model.js';
import { at, KernelRig, pictureOf, randomFrom } from '../kernels/kernel-rig.js';
import { describeGpu, devices } from './gpu-rig.js';

const size = { width: 301, height: 203 };
const half = { width: 151, height: 102 };
const cellBytes = 24;

/** Leaves and hairs before a wall, most of their depths certain, under random light. */
function scene(nearSign: -1 | 1, fractionBits: number) {
  const random = randomFrom(nearSign + 7);
  const stored = (frame: number) => Math.round(2 ** fractionBits * ((nearSign > 0 ? frame : 50 - frame) + 4));
  const depthIndices = pictureOf(size.width, size.height, (x, y) => {
    if (Math.abs(x - 150 - y / 3) < 1.5) return stored(4);
    if (x + y < 140) return stored(10 + y / 40);
    return stored(30 + x / 40 + random());
  });
  const weights = pictureOf(size.width, size.height, () =>
    random() < 0.2 ? Math.floor(random() * leastWeight) : leastWeight + Math.floor(random() * 200),
  );
  const lights = [0, 1, 2].map(() => pictureOf(half.width, half.height, () => Math.floor(random() * 256)));
  return { depthIndices, weights, lights };
}

type Scene = ReturnType<typeof scene>;

/** Light and share of the spill over each pixel of level 1, by the processor's kernels; and what part of them is plain. */
function spilled(
  rig: KernelRig,
  { depthIndices, weights, lights }: Scene,
  nearSign: -1 | 1,
  bits: number,
  blurPx: number,
) {
  const gap = minApartFrames * 2 ** bits;
  const indices = rig.storeCodes([depthIndices]);
  const sure = rig.storeCodes([weights]);
  const bytes = Uint8Array.from(
    { length: half.width * half.height * 4 },
    (_, i) => lights[i % 4]?.data[i >> 2] ?? 0,
  );
  const full = [indices.pointer, sure.pointer, leastWeight, indices.stride, size.width, size.height];
  const grids: { pointer: number; width: number; height: number }[] = [];
  while (grids.length < cellSizes) {
    const finer = grids.at(-1);
    const { width, height } = finer ?? half;
    const cells = { width: (width + 1) >> 1, height: (height + 1) >> 1 };
    const pointer = rig.arena.take(cells.width * cells.height * cellBytes);
    const out = [gap, nearSign, pointer, cells.width, cells.height];
    if (finer) rig.run('mergeSpillCellsStrip', [finer.pointer, width, height, ...out], cells.height);
    else rig.run('spillCellsStrip', [...full, rig.placeSamples(bytes), width, height, ...out], cells.height);
    grids.push({ pointer, ...cells });
  }
  const cells = rig.arena.u16(grids[0].pointer, (grids[0].width * grids[0].height * cellBytes) / 2);
  const pxPerUnit = (blurPx * blurShare) / 2 ** bits;
  const rowLength = (grids[0].width * cellBytes) / 2;
  const row = (y: number) => cells.subarray(y * rowLength, (y + 1) * rowLength);
  const { reaches, blocks } = spillReaches(row, grids[0], {
    gap,
    nearSign,
    pxPerUnit,
    maxReachPx: maxSpillPx,
  });
  const table = rig.arena.take(grids.length * 12);
  rig.arena
    .u32(table, grids.length * 3)
    .set(grids.flatMap((grid) => [grid.pointer, grid.width, grid.height]));
  const pixels = half.width * half.height;
  const [outIndices, outSpill] = [rig.arena.take(pixels * 2), rig.arena.take(pixels * 8)];
  const points = rig.placeSamples(spillPoints());
  rig.run(
    'spillStrip',
    [
      ...[
        indices.pointer,
        sure.pointer,
        leastWeight,
        indices.stride,
        table,
        grids.length,
        points,
        spillSamples,
      ],
      ...[blurPx * blurShare, gap, nearSign, bits, rig.placeSamples(reaches), blocks],
      ...[outIndices, outSpill, half.width, half.height],
    ],
    half.height,
  );
  const values = rig.arena.u16(outSpill, pixels * 4).slice();
  const plain = values.filter((value, i) => i % 4 === 3 && value >= plainShare).length;
  return { values, depthIndices: rig.arena.u16(outIndices, pixels).slice(), share: plain / pixels };
}

describeGpu(
  'spill',
  (rig) => {
    const cases = devices.flatMap((which) =>
      [
        { nearSign: 1, bits: 6, blurPx: 2.5 },
        { nearSign: -1, bits: 5, blurPx: 1.1 },
      ].map((one) => ({ ...one, which })),
    );

    it.each(cases)(
      'is that of the processor: near sign $nearSign, $bits fraction bits, blur $blurPx px ($which)',
      async ({ nearSign, bits, blurPx, which }) => {
        const gpu = rig[which];
        const sign = nearSign as -1 | 1;
        const drawn = scene(sign, bits);
        const expected = spilled(await KernelRig.start(), drawn, sign, bits, blurPx);
        const { depthIndices, weights, lights } = drawn;
        const word = (x: number, y: number) => at(depthIndices, x, y) + 65536 * at(weights, x, y);
        const surface = rig.storeWords(gpu, [pictureOf(size.width, size.height, word)]);
        const [red, green, blue] = lights;
        const light = (x: number, y: number) =>
          at(red, x, y) + 256 * at(green, x, y) + 65536 * at(blue, x, y);
        const noted = rig.storeWords(gpu, [pictureOf(half.width, half.height, light)]);
        const { spill, share } = await findGpuSpill(gpu, surface, noted, blurPx, sign, bits);
        expect(share).toBeCloseTo(expected.share, 3);
        expect(share).toBeGreaterThan(0.05);
        const words = await Promise.all([0, 1, 2].map((plane) => rig.readWords(gpu, spill, plane)));
        let wrong = 0;
        for (let i = 0; i < half.width * half.height; i++) {
          const [rg, bs, depthIndex] = words.map(({ data }) => data[i]);
          if (depthIndex !== expected.depthIndices[i]) wrong++;
          [rg & 65535, rg >>> 16, bs & 65535, bs >>> 16].forEach((value, c) => {
            // Of 65535.
            if (Math.abs(value - expected.values[4 * i + c]) > 4) wrong++;
          });
        }
        expect(wrong).toBeLessThan(0.001 * half.width * half.height);
        gpu.release(surface, noted, spill);
      },
    );
  },
  {
    bandBytes: 200 << 10,
  },
);
