import { expect, it } from 'vitest';
import { planSources, takePlan, tileRows } from '../../src/blend/plan-sources.js';
import { statePlane } from '../../src/focus/focus-curves.js';
import { type GpuPlannedSurface, planGpuSources } from '../../src/gpu/plan.js';
import { levelSizes } from '../../src/image/level-sizes.js';
import { type Matrix3, similarityMatrix } from '../../src/image/transform.js';
import { Arena, type Planes } from '../../src/kernels/arena.js';
import { tileColumns } from '../../src/model/constants/state.js';
import type { SourceRule } from '../../src/options/source-rule.js';
import { fractionBitsFor } from '../../src/surface/depth-index.js';
import type { Surface } from '../../src/surface/surface.js';
import { StripPool } from '../../src/workers/pool.js';
import { at, type Plane, pictureOf, randomFrom } from '../kernels/kernel-rig.js';
import { describeGpu, devices } from './gpu-rig.js';

const size = { width: 301, height: 203 };
const frame = { width: 309, height: 198 };
const tiles = Math.ceil(size.width / tileColumns) * Math.ceil(size.height / tileRows);

interface Given {
  depthIndices: Plane;
  weights: Plane;
  /** Of each level that is followed, the planes of its state. */
  peaks: Plane[][];
  toFrame: Matrix3[];
  fractionBits: number;
}

/** A surface of patches with scattered pixels, peaks about it and anywhere, and frames that miss the picture's borders. */
function randomSurface(count: number, seed: number): Given {
  const random = randomFrom(seed);
  const fractionBits = fractionBitsFor(count);
  const stored = (ordinal: number) => Math.round((ordinal + 4) * 2 ** fractionBits);
  const patches = Array.from({ length: 400 }, () => stored(-1 + random() * (count + 3)));
  const depthIndices = pictureOf(size.width, size.height, (x, y) =>
    random() < 0.1 ? stored(random() * count) : patches[Math.floor(x / 17) + 20 * Math.floor(y / 19)],
  );
  const weights = pictureOf(size.width, size.height, () => Math.floor(random() * 500));
  const peaks = levelSizes(size)
    .slice(0, 4)
    .map(({ width, height }, level) => {
      const near = (x: number, y: number) => at(depthIndices, x << level, y << level);
      const planes = Array.from({ length: 11 }, () => pictureOf(width, height, () => 0));
      const fill = (plane: number, value: (x: number, y: number) => number) => {
        planes[plane] = pictureOf(width, height, value);
      };
      fill(0, () => Math.floor(random() * 4096));
      fill(1, (x, y) =>
        random() < 0.5 ? near(x, y) + Math.floor(random() * 40 - 20) : stored(random() * count),
      );
      fill(statePlane.bestOrdinal, () => Math.floor(random() * (count + 1)));
      fill(statePlane.front, () => Math.max(0, Math.floor((random() * 2 - 1) * count)));
      return planes;
    });
  const spread = (range: number) => (2 * random() - 1) * range;
  const toFrame = Array.from({ length: count }, () =>
    similarityMatrix(
      { scale: 1 + spread(0.05), rollRad: spread(0.02), shiftXPx: spread(9), shiftYPx: spread(9) },
      size.width,
      size.height,
    ),
  );
  return { depthIndices, weights, peaks, toFrame, fractionBits };
}

interface Planned {
  maps: Plane[][];
  sources: Plane;
  isUsed: (tile: number, ordinal: number) => boolean;
}

/** The plan of the processor. */
async function planned(
  given: Given,
  rule: SourceRule,
  nearSign: -1 | 0 | 1,
  blurPx?: number,
): Promise<Planned> {
  const arena = new Arena();
  const pool = await StripPool.start(arena, 1, 1 << 20);
  try {
    const store = (pictures: readonly Plane[]): Planes => {
      const { width, height } = pictures[0];
      const planes = arena.takePlanes(width, height, pictures.length, 2);
      pictures.forEach((picture, p) => {
        const data = arena.planeU16(planes, p);
        for (let y = 0; y < height; y++)
          for (let x = 0; x < width; x++) data[y * planes.stride + x] = at(picture, x, y);
      });
      return planes;
    };
    const surface = {
      depthIndices: store([given.depthIndices]),
      weights: store([given.weights]),
      peaks: given.peaks.map(store),
      unit: 1,
      fractionBits: given.fractionBits,
    } as Partial<Surface> as Surface;
    const plan = takePlan(arena, size, given.toFrame.length);
    await planSources(arena, pool, plan, surface, given.toFrame, frame, rule, nearSign, blurPx);
    const read = (planes: Planes, plane = 0) => {
      const data = arena.planeU16(planes, plane);
      return pictureOf(planes.width, planes.height, (x, y) => data[y * planes.stride + x]);
    };
    const sources = new Uint16Array(arena.gather(plan.sources).buffer);
    const uses = arena.u8(plan.uses, tiles * plan.usesBytes).slice();
    return {
      maps: plan.levels.map(({ centre, reach }) => [
        read(centre),
        ...Array.from({ length: reach.planes }, (_, p) => read(reach, p)),
      ]),
      sources: pictureOf(size.width, size.height, (x, y) => sources[y * size.width + x]),
      isUsed: (tile, ordinal) => ((uses[tile * plan.usesBytes + (ordinal >> 3)] >> (ordinal & 7)) & 1) === 1,
    };
  } finally {
    await pool.close();
  }
}

/** Pixels that differ. */
function differences(first: Plane, second: Plane): number {
  expect([first.width, first.height]).toEqual([second.width, second.height]);
  return first.data.reduce((sum, value, i) => sum + Number(value !== second.data[i]), 0);
}

// Of level 0 two bands; its rows of all planes about a row of level 3 must fit.
describeGpu(
  'a plan',
  (rig) => {
    const stacks = [
      { rule: 'auto', nearSign: 1, blurPx: 1.5, count: 40 },
      { rule: 'auto', nearSign: -1, blurPx: 3, count: 12 },
      { rule: 'auto', nearSign: 0, blurPx: undefined, count: 9 },
      { rule: 'auto', nearSign: 1, blurPx: 1.5, count: 2 },
      // Five fraction bits, so that front layers have a plane of their own.
      { rule: 'auto', nearSign: 1, blurPx: 0.9, count: 1100 },
      { rule: 'select', nearSign: 1, blurPx: 1.5, count: 9 },
      { rule: 'weigh', nearSign: -1, blurPx: undefined, count: 33 },
    ] as const;
    const cases = stacks.flatMap((stack) => devices.map((which) => ({ ...stack, which })));

    it.each(cases)(
      'is that of the processor: $rule, near sign $nearSign, blur $blurPx px, $count frames ($which)',
      async ({ rule, nearSign, blurPx, count, which }) => {
        const gpu = rig[which];
        const given = randomSurface(count, count);
        const words = pictureOf(
          size.width,
          size.height,
          (x, y) => at(given.depthIndices, x, y) + at(given.weights, x, y) * 65536,
        );
        const surface: GpuPlannedSurface = {
          surface: rig.storeWords(gpu, [words]),
          peaks: given.peaks.map((planes) => rig.store(gpu, planes, 2)),
          unit: 1,
        };
        const ours = planGpuSources(gpu, surface, given.toFrame, frame, rule, nearSign, blurPx);
        const expected = await planned(given, rule, nearSign, blurPx);
        for (const [level, { maps }] of ours.levels.entries()) {
          for (const [p, map] of expected.maps[level].entries())
            expect(differences(await rig.read(gpu, maps, p), map), `level ${level}, plane ${p}`).toBe(0);
        }
        expect(differences(await rig.read(gpu, ours.sources), expected.sources)).toBe(0);
        const uses = new Uint32Array(tiles * ours.useWords);
        await gpu.readTable(ours.uses, new Uint8Array(uses.buffer));
        const wrong: string[] = [];
        let used = 0;
        for (let tile = 0; tile < tiles; tile++) {
          for (let ordinal = 1; ordinal <= count; ordinal++) {
            const isUsed = ((uses[tile * ours.useWords + (ordinal >> 5)] >> (ordinal & 31)) & 1) === 1;
            if (isUsed !== expected.isUsed(tile, ordinal)) wrong.push(`${tile} ${ordinal}`);
            used += Number(isUsed);
          }
        }
        expect(wrong).toEqual([]);
        expect(used).toBeGreaterThan(tiles);
        const fronts = expected.maps[0].at(-1)!.data.some((value) => value > 63);
        expect(fronts).toBe(rule === 'auto' && count > 2 && nearSign !== 0);
      },
    );
  },
  { bandBytes: 1500 << 10 },
);
