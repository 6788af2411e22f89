import { beforeAll, expect, it } from 'vitest';
import { statePlane } from '../../src/focus/focus-curves.js';
import type { Gpu } from '../../src/gpu/device.js';
import { dropUnder, finerBy, markFalseRims } from '../../src/gpu/false-rims.js';
import { takeSpans } from '../../src/gpu/frame-spans.js';
import { storedUnits } from '../../src/gpu/label-surface.js';
import { allRows, finerRows, type GpuPlanes, wordsOf } from '../../src/gpu/planes.js';
import { frameBytes, frameTable } from '../../src/image/frame-reach.js';
import { type Matrix3, similarityMatrix } from '../../src/image/transform.js';
import type { Planes } from '../../src/kernels/arena.js';
import { gapFall, sameUnits } from '../../src/model/constants/model.js';
import { leakRadius, maxRimBlurPx } from '../../src/model/constants/surface.js';
import { rimSamples, rimSpiral } from '../../src/surface/false-rims.js';
import { fractionBits, frames, levelTable, names, randomState, type State } from '../kernels/focus-state.js';
import { KernelRig, type Plane, pictureOf, randomFrom } from '../kernels/kernel-rig.js';
import { randomScene } from '../kernels/label-scene.js';
import { errorAt, noiseCodes } from '../kernels/peak-twin.js';
import { describeGpu, devices, type GpuRig } from './gpu-rig.js';
import { placeStates } from './state-sets.js';

// Each kernel is held to what its form for the processor makes of the same state; that form is held to a plain twin in
// test/kernels.

/** Odd, and higher than a band of the device whose bindings are small. */
const sizes = [
  [53, 203],
  [27, 102],
  [14, 51],
  [7, 26],
] as const;

const pairsOf = ({ width, height }: GpuPlanes) => ({ width: wordsOf(width), height });

/** Where one differs from the other, at most so many of the pixels as numbers that are rounded another way make. */
function expectNear(found: Plane, expected: Plane, most: number, share: number): void {
  let differing = 0;
  for (const [i, value] of expected.data.entries()) {
    expect(Math.abs(found.data[i] - value)).toBeLessThanOrEqual(most);
    if (found.data[i] !== value) differing++;
  }
  expect(differing).toBeLessThanOrEqual(share * expected.data.length);
}

let kernels: KernelRig;
beforeAll(async () => {
  kernels = await KernelRig.start();
});

function placeBoth(rig: GpuRig, gpu: Gpu, states: readonly State[]) {
  const levels = states.map((state) => kernels.storeCodes(names.map((name) => state[name])));
  return { levels, table: levelTable(kernels, levels), sets: placeStates(rig, gpu, states) };
}

async function expectSame(
  rig: GpuRig,
  gpu: Gpu,
  set: GpuPlanes,
  planes: Planes,
  plane: number,
): Promise<void> {
  expect((await rig.read(gpu, set, plane)).data).toEqual(kernels.read(planes, plane).data);
}

describeGpu(
  'kernels of peaks',
  (rig) => {
    it.each(devices)('markTruncated marks curves that end where frames end (%s)', async (which) => {
      const gpu = rig[which];
      const random = randomFrom(3);
      for (const [level, [width, height]] of sizes.entries()) {
        const toFrame: Matrix3[] = Array.from({ length: frames }, (_, k) =>
          similarityMatrix(
            {
              ...{ scale: 1 + 0.02 * (k - 6), rollRad: 0.01 * (random() - 0.5) },
              ...{ shiftXPx: 6 * (random() - 0.5), shiftYPx: 6 * (random() - 0.5) },
            },
            width << level,
            height << level,
          ),
        );
        const frame = { width: (width << level) + 3, height: (height << level) - 2 };
        const { levels, table, sets } = placeBoth(rig, gpu, [randomState([width, height], 4 + level)]);
        const bounds = kernels.arena.take(frames * frameBytes);
        kernels.arena.f64(bounds, frames * 7).set(frameTable(toFrame, level, () => 3));
        const last = [(frame.width - 1) / 2 ** level, (frame.height - 1) / 2 ** level];
        kernels.run('markTruncatedStrip', [table, 0, width, height, bounds, frames, ...last], height);
        const spans = takeSpans(gpu, toFrame, frame, sets[0], level, () => 3);
        gpu.run('markTruncated', { frames }, { state: sets[0], spans }, pairsOf(sets[0]));
        await expectSame(rig, gpu, sets[0], levels[0], statePlane.latest);
        const marks = kernels.read(levels[0], statePlane.latest);
        if (level === 0) for (const mark of [0, 1, 2, 3]) expect(marks.data).toContain(mark);
        gpu.release(...sets, spans);
      }
    });

    it.each(
      devices.flatMap((which) =>
        [
          [-1, 1, 1],
          [0, 1.7, 1],
          [1, 1, 1.9],
        ].map(([nearSign, unit, step]) => ({ which, nearSign, unit, step })),
      ),
    )(
      'peak interpolates and weighs, nearSign $nearSign, unit $unit, steps to $step ($which)',
      async (given) => {
        const { which, nearSign, unit, step } = given;
        const gpu = rig[which];
        const random = randomFrom(8);
        const steps = Float32Array.from({ length: frames + 1 }, (_, k) =>
          k === 0 || k === frames ? 1 : k % 4 === 2 ? step + random() * (step - 1) : 0.6 + 0.8 * random(),
        );
        const { levels, table, sets } = placeBoth(
          rig,
          gpu,
          sizes.map((size) => randomState(size, 5 + nearSign)),
        );
        const errorCodes = Float32Array.from({ length: 512 }, (_, i) => errorAt(i));
        const { arena } = kernels;
        const [errors, noise, distances] = [2048, 32, 4 * steps.length].map((bytes) => arena.take(bytes));
        arena.f32(errors, 512).set(errorCodes);
        arena.i32(noise, 8).set(noiseCodes);
        arena.f32(distances, steps.length).set(steps);
        const tables = [errorCodes, Int32Array.from(noiseCodes), steps].map((values) =>
          gpu.takeTable(values),
        );
        const [full] = levels;
        for (let level = sizes.length - 1; level >= 0; level--) {
          const { width, height } = levels[level];
          const tones = full.pointer + statePlane.tones * full.planeBytes;
          const picture = [tones, full.stride, full.width, full.height];
          const numbers = [noise, errors, nearSign, distances, unit, gapFall, fractionBits];
          kernels.run('peakStrip', [table, level, width, height, ...picture, ...numbers], height);
          gpu.run(
            'peak',
            { level, nearSign, unit, fall: gapFall, fractionBits },
            {
              state: sets[level],
              full: level === 0 ? { set: sets[1], rows: allRows } : { set: sets[0], rows: finerBy(level) },
              ...{ noise: tables[1], errors: tables[0], steps: tables[2] },
            },
            pairsOf(sets[level]),
          );
          for (const plane of [0, 5, 7, 8]) await expectSame(rig, gpu, sets[level], levels[level], plane);
          // Halves of a stored unit may round either way.
          const [found, expected] = [await rig.read(gpu, sets[level], 1), kernels.read(levels[level], 1)];
          expectNear(found, expected, 1, 0.002);
          const [weights, expectedWeights] = [
            await rig.read(gpu, sets[level], 2),
            kernels.read(levels[level], 2),
          ];
          expectNear(weights, expectedWeights, 1, 0.01);
        }
        gpu.release(...sets, ...tables);
      },
    );

    it.each(
      devices.flatMap((which) =>
        (
          [
            [53, 203, 4, 1],
            [61, 21, 2, 1.63],
            [7, 5, 3, 1],
            [1, 9, 2, 1],
          ] as const
        ).map(([width, height, count, unit]) => ({ which, width, height, count, unit })),
      ),
    )('markLeaks, $width x $height, $count levels, unit $unit ($which)', async (given) => {
      const { which, width, height, count, unit } = given;
      const gpu = rig[which];
      const { states } = randomScene(width, height, count, 8, unit);
      for (const { after } of states)
        for (const [i, stored] of after.data.entries()) after.data[i] = stored & ~0x4000;
      const { levels, table, sets } = placeBoth(rig, gpu, states);
      for (let level = 1; level < count; level++) {
        const [fine, here] = [levels[level - 1], levels[level]];
        const sides = [here.width, here.height, fine.width, fine.height];
        kernels.run('markLeaksStrip', [table, level, ...sides, unit, fractionBits], here.height);
        gpu.run(
          'markLeaks',
          { same: storedUnits(sameUnits, { unit, fractionBits }) },
          { peaks: sets[level], fine: { set: sets[level - 1], rows: finerRows(2 * leakRadius) } },
          pairsOf(sets[level]),
        );
        await expectSame(rig, gpu, sets[level], here, 2);
      }
      gpu.release(...sets);
    });
  },
  { bandBytes: 1 << 19 },
);

describeGpu(
  'kernels of false rims',
  (rig) => {
    it.each(devices)('markFalseRims and dropFalseRims take out what blur feigns (%s)', async (which) => {
      const gpu = rig[which];
      const [frameCount, blurPx] = [30, 0.9];
      const random = randomFrom(5);
      const of = (level: number, value: () => number) => {
        const [width, height] = sizes[level];
        return pictureOf(width, height, () => Math.round(value()));
      };
      const states = sizes.map((size, level) => ({
        ...randomState(size, 5),
        best: of(level, () => 512 * (level === 2 ? 14 : 4) * random() ** 3),
        before: of(level, () => 64 * (5 + random() * (frameCount - 1))),
        after: of(level, () => (random() < 0.1 ? 0x8000 : 400)),
      }));
      const { levels, sets } = placeBoth(rig, gpu, states);
      const { arena } = kernels;
      const spiral = rimSpiral();
      const points = arena.take(spiral.byteLength);
      arena.f32(points, spiral.length).set(spiral);
      const [level, finer] = [2, 1];
      const planeOf = (of: Planes, n: number) => of.pointer + n * of.planeBytes;
      const [here, fine] = [levels[level], levels[finer]];
      const peaksOf = (of: Planes) => [0, 1, 2].map((plane) => planeOf(of, plane));
      const size = ({ stride, width, height }: Planes) => [stride, width, height];
      const marks = kernels.storeCodes([of(level, () => 0)]);
      kernels.run(
        'markFalseRimsStrip',
        [
          ...[...peaksOf(here), marks.pointer, ...size(here), 2 ** level],
          ...[fine.pointer, fine.stride, level - finer, fine.width, fine.height],
          ...[blurPx, frameCount, points, rimSamples, maxRimBlurPx, fractionBits],
        ],
        here.height,
      );
      const found = markFalseRims(gpu, sets, level, finer, { frames: frameCount, blurPx, fractionBits });
      const expected = kernels.read(marks);
      const marked = await rig.read(gpu, found);
      expectNear(
        pictureOf(marked.width, marked.height, (x, y) => Number(marked.data[y * marked.width + x] > 0)),
        expected,
        1,
        0.005,
      );
      const share = expected.data.reduce((sum, mark) => sum + mark, 0) / expected.data.length;
      expect(share).toBeGreaterThan(0.05);
      expect(share).toBeLessThan(0.95);
      // From here on by the marks of the device.
      const stored = arena.planeU16(marks);
      for (let y = 0; y < marks.height; y++) {
        for (let x = 0; x < marks.width; x++)
          stored[y * marks.stride + x] = Number(marked.data[y * marked.width + x] > 0);
      }
      for (const under of [1, 2, 0]) {
        const planes = levels[under];
        kernels.run(
          'dropFalseRimsStrip',
          [
            ...[...peaksOf(planes), ...size(planes)],
            ...[marks.pointer, planeOf(here, 1), marks.stride, level - under, fractionBits],
          ],
          planes.height,
        );
        dropUnder(gpu, sets[under], found, level - under, fractionBits);
        for (const plane of [0, 1, 2]) await expectSame(rig, gpu, sets[under], planes, plane);
      }
      gpu.release(...sets, found);
    });
  },
  { bandBytes: 1 << 17 },
);
