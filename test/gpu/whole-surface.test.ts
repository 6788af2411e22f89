import { beforeAll, expect, it } from 'vitest';
import { takeSpans } from '../../src/gpu/frame-spans.js';
import { coarserRows, finerRows, sameRows, wordsOf } from '../../src/gpu/planes.js';
import { frameBytes, frameTable } from '../../src/image/frame-reach.js';
import { type Matrix3, similarityMatrix } from '../../src/image/transform.js';
import { windowRadius } from '../../src/model/constants/focus.js';
import { fullWeight } from '../../src/model/constants/surface.js';
import { fractionBits, frames, storedIndex } from '../kernels/focus-state.js';
import { KernelRig, type Plane, pictureOf, randomFrom } from '../kernels/kernel-rig.js';
import { describeGpu, devices } from './gpu-rig.js';
import { highHalf, joinHalves, lowHalf, readWords } from './words.js';

// Each kernel is held to what its form for the processor makes of the same map; that form is held to its formula in
// test/kernels.

/** Depth indices about two surfaces, and weights: unknown, weak and sure. */
function randomMap(width: number, height: number, seed: number, most = 12_000) {
  const random = randomFrom(seed);
  const weights = pictureOf(width, height, () => (random() < 0.4 ? 0 : Math.floor(random() ** 3 * most)));
  const depthIndices = pictureOf(width, height, (x) =>
    random() < 0.2 ? Math.floor(random() * 65_536) : storedIndex((x * 2 > width ? 9 : 4) + random() * 1.5),
  );
  return { depthIndices, weights };
}

const half = (n: number) => (n + 1) >> 1;

describeGpu(
  'kernels of the whole surface',
  (rig) => {
    let kernels: KernelRig;
    beforeAll(async () => {
      kernels = await KernelRig.start();
    });

    /** Planes 0 and 1 in the arena, and the arguments that name them. */
    const store = (...planes: Plane[]) => {
      const set = kernels.storeCodes(planes);
      return { set, pointers: planes.map((_, plane) => set.pointer + plane * set.planeBytes) };
    };

    const expectNear = (found: Plane, expected: Plane, most: number) => {
      const apart = expected.data.map((value, i) => Math.abs(found.data[i] - value));
      expect(Math.max(...apart)).toBeLessThanOrEqual(most);
      expect(apart.filter((difference) => difference > 0).length).toBeLessThanOrEqual(0.005 * apart.length);
    };

    const cases = devices.flatMap((which) =>
      (
        [
          [1, 53, 301],
          [2, 30, 21],
          [4, 61, 299],
          [4, 7, 3],
        ] as const
      ).map(([hole, width, height]) => ({ which, hole, width, height })),
    );
    it.each(cases)('smooth, $hole px apart, $width x $height ($which)', async (given) => {
      const { which, hole, width, height } = given;
      const gpu = rig[which];
      const { depthIndices, weights } = randomMap(width, height, hole);
      const tolerance = 1.2;
      const [from, to] = [store(depthIndices, weights), store(depthIndices, weights)];
      kernels.run(
        'smoothStrip',
        [...from.pointers, ...to.pointers, from.set.stride, width, height, hole, tolerance, fractionBits],
        height,
      );
      const surface = rig.storeWords(gpu, [joinHalves(depthIndices, weights)]);
      const smoothed = gpu.takePlanes(width, height, 1, 4);
      gpu.run(
        'smooth',
        { hole, strictness: 1 / (tolerance * 2 ** fractionBits) ** 2 },
        { surface: { set: surface, rows: sameRows(hole) }, smoothed },
        smoothed,
      );
      const found = await readWords(gpu, smoothed);
      // Halves of a unit may round either way.
      expectNear(lowHalf(found), kernels.read(to.set, 0), 1);
      expectNear(highHalf(found), kernels.read(to.set, 1), 1);
      gpu.release(surface, smoothed);
    });

    const maps = devices.flatMap((which) =>
      (
        [
          [53, 301, 320],
          [30, 21, 0],
          [7, 1, 320],
          [1, 9, 0],
        ] as const
      ).map(([width, height, full]) => ({ which, width, height, full })),
    );
    it.each(maps)('push and pull, $width x $height, full weight $full ($which)', async (given) => {
      const { which, width, height, full } = given;
      const gpu = rig[which];
      const { depthIndices, weights } = randomMap(width, height, 2, full === 0 ? 32_769 : 600);
      const fine = store(depthIndices, weights);
      const blank = pictureOf(half(width), half(height), () => 7);
      const coarse = store(blank, blank);
      const finest = [...fine.pointers, fine.set.stride, width, height, full];
      const coarsest = [coarse.set.stride, half(width), half(height)];
      kernels.run('pushStrip', [...finest, ...coarse.pointers, ...coarsest], half(height));
      const set = rig.storeWords(gpu, [joinHalves(depthIndices, weights)]);
      const pushed = gpu.takePlanes(half(width), half(height), 1, 4);
      gpu.run('push', { fullWeight: full }, { fine: { set, rows: finerRows() }, coarse: pushed }, pushed);
      const found = await readWords(gpu, pushed);
      expect([lowHalf(found), highHalf(found)]).toEqual(
        [0, 1].map((plane) => kernels.read(coarse.set, plane)),
      );
      kernels.run('pullStrip', [...finest, coarse.pointers[0], ...coarsest], height);
      gpu.run(
        'pull',
        { fullWeight: full },
        { fine: set, coarse: { set: pushed, rows: coarserRows(1) } },
        set,
      );
      const pulled = await readWords(gpu, set);
      expect([lowHalf(pulled), highHalf(pulled)]).toEqual(
        [0, 1].map((plane) => kernels.read(fine.set, plane)),
      );
      gpu.release(set, pushed);
    });

    it.each(
      devices.flatMap((which) => [
        { which, width: 53, height: 137, bits: 6 },
        { which, width: 62, height: 29, bits: 4 },
        { which, width: 5, height: 3, bits: 6 },
      ]),
    )('judge, $width x $height, $bits fraction bits ($which)', async ({ which, width, height, bits }) => {
      const gpu = rig[which];
      const random = randomFrom(6);
      const of = (value: () => number) => pictureOf(width, height, () => Math.floor(value()));
      const depthIndices = of(() => (random() * (frames + 4) + 2) * 2 ** bits);
      const weights = of(() => (random() < 0.1 ? 0 : random() * 1.5 * fullWeight));
      const gaps = of(() => (random() < 0.4 ? 0x8000 : [0, 1, 2][Math.floor(random() * 3)]));
      const certainties = of(() => (random() < 0.3 ? 0 : random() * 256));
      const toFrame: Matrix3[] = Array.from({ length: frames }, (_, k) =>
        similarityMatrix(
          { scale: 1 + 0.02 * (k - 6), rollRad: 0.01, shiftXPx: 1, shiftYPx: 0 },
          width,
          height,
        ),
      );
      const frame = { width: width + 2, height: height - 1 };
      const hasLongStep = bits === 6 ? 1 : 0;
      const reaches = Array.from({ length: frames + 1 }, (_, k) =>
        k % 3 === 1 ? hasLongStep * (10 + k) : 0,
      );
      const planes = store(depthIndices, weights, gaps, certainties);
      const { arena } = kernels;
      const table = arena.take(4 * reaches.length);
      arena.i32(table, reaches.length).set(reaches);
      const bounds = arena.take(frames * frameBytes);
      arena.f64(bounds, frames * 7).set(frameTable(toFrame, 0));
      const [confidence, coverage] = [0, 1].map(() => arena.take(width * height));
      kernels.run(
        'judgeStrip',
        [
          ...[...planes.pointers, planes.set.stride, width, height, fullWeight, frames, table],
          ...[hasLongStep, bits, bounds, frame.width - 1, frame.height - 1, confidence, coverage],
        ],
        height,
      );
      const blank = of(() => 0);
      const state = rig.store(gpu, [...new Array<Plane>(9).fill(blank), gaps, certainties], 2);
      const surface = rig.storeWords(gpu, [joinHalves(depthIndices, weights)]);
      const spans = takeSpans(gpu, toFrame, frame, { width, height }, 0);
      const judged = [0, 1].map(() => gpu.takePlanes(width, height, 1, 1));
      const steps = gpu.takeTable(Int32Array.from(reaches));
      gpu.run(
        'judge',
        { frames, fullWeight, fractionBits: bits },
        {
          state: { set: state, rows: sameRows(windowRadius) },
          surface: { set: surface, rows: sameRows(windowRadius) },
          ...{ spans, confidence: judged[0], coverage: judged[1], reaches: steps },
        },
        { width: Math.ceil(width / 4), height },
      );
      for (const [n, at] of [confidence, coverage].entries()) {
        const found = await rig.read(gpu, judged[n]);
        expect(Array.from(found.data)).toEqual(Array.from(arena.u8(at, width * height)));
      }
      if (width > 50) {
        const kinds = new Set(arena.u8(coverage, width * height));
        expect([...kinds].sort()).toEqual([0, 1, 2, 3, 4, 5]);
      }
      const indices = gpu.takePlanes(width, height, 1, 2);
      gpu.run('storeIndices', {}, { surface, indices }, { width: wordsOf(width), height });
      expect(await rig.read(gpu, indices)).toEqual(depthIndices);
      gpu.release(state, surface, spans, ...judged, steps, indices);
    });
  },
  { bandBytes: 1 << 16 },
);
