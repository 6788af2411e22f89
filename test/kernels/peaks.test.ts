import { beforeAll, describe, expect, it } from 'vitest';
import { statePlane } from '../../src/focus/focus-curves.js';
import type { Planes } from '../../src/kernels/arena.js';
import {
  depthIndexAt,
  fractionBits,
  frames,
  levelTable,
  names,
  randomState,
  type State,
  storedIndex,
} from './focus-state.js';
import { at, KernelRig, type Plane, pictureOf, randomFrom, worstDifference } from './kernel-rig.js';
import { errorAt, gapFall, noiseCodes, peakTwin, secondTwin } from './peak-twin.js';

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

/** Neither divides by 4, 8 or 32; the coarser levels' sizes are odd and even. */
const width = 53;
const height = 37;
const sizes = [
  [53, 37],
  [27, 19],
  [14, 10],
  [7, 5],
] as const;

function placeState(state: State): Planes {
  return rig.storeCodes(names.map((name) => state[name]));
}

/** Steps by the ordinal of the frame before them, 1 beyond the ends. */
const evenSteps: readonly number[] = Array.from({ length: frames + 1 }, () => 1);

/** Steps of a poor rail: some long, some so long that curves are lost across them. */
function unevenSteps(seed: number, mostPlain = 1.4): number[] {
  const random = randomFrom(seed);
  const inner = Array.from({ length: frames - 1 }, (_, k) =>
    Math.fround(k % 4 === 2 && mostPlain > 1.3 ? 1.5 + 1.5 * random() : 0.6 + (mostPlain - 0.6) * random()),
  );
  return [1, ...inner, 1];
}

interface PeakSetting {
  nearSign: number;
  noise?: readonly number[];
  steps?: readonly number[];
  /** Frames that count as one step. */
  unit?: number;
}

/** Runs `peakStrip` over all levels, coarsest first; the state's planes then hold rise, depth index and weight, and those of the second peak. */
function findPeaks(
  states: readonly State[],
  { nearSign, noise = noiseCodes, steps = evenSteps, unit = 1 }: PeakSetting,
) {
  const levels = states.map(placeState);
  const table = levelTable(rig, levels);
  const errors = rig.arena.take(512 * 4);
  rig.arena.f32(errors, 512).set(Float32Array.from({ length: 512 }, (_, i) => errorAt(i)));
  const codes = rig.arena.take(32);
  rig.arena.i32(codes, 8).set(noise);
  const distances = rig.arena.take(steps.length * 4);
  rig.arena.f32(distances, steps.length).set(steps);
  const full = levels[0];
  for (let level = levels.length - 1; level >= 0; level--) {
    const { width: w, height: h } = levels[level];
    const tones = full.pointer + statePlane.tones * full.planeBytes;
    const picture = [tones, full.stride, full.width, full.height];
    const tables = [codes, errors, nearSign, distances, unit, gapFall, fractionBits];
    rig.run('peakStrip', [table, level, w, h, ...picture, ...tables], h);
  }
  return { levels, table };
}

/** The stored peak of a level's planes. */
function storedPeak(planes: readonly Plane[], x: number, y: number) {
  const weight = at(planes[2], x, y);
  return {
    rise: at(planes[0], x, y),
    depthIndex: depthIndexAt(at(planes[1], x, y)),
    weight: (weight & 0x7fff) / 64,
    gap: weight >= 0x8000,
  };
}

describe('peakStrip', () => {
  it.each([
    [1, 1, 'even', evenSteps, 1],
    [2, -1, 'even', evenSteps, 1],
    [3, 0, 'even', evenSteps, 1],
    [4, 1, 'uneven', unevenSteps(4), 1],
    [5, -1, 'uneven', unevenSteps(5), 1],
    [6, 1, 'small', evenSteps, 1.7],
  ] as const)(
    'interpolates the best peak, weighs it and keeps the second, seed %i, nearSign %i, %s steps',
    (seed, nearSign, _, steps, unit) => {
      const states = sizes.map((size) => randomState(size, seed));
      const { levels } = findPeaks(states, { nearSign, steps, unit });
      const found = levels.map((planes) => [0, 1, 2, 5, 7].map((plane) => rig.read(planes, plane)));
      const seen = { none: 0, second: 0, dropped: 0, gap: 0, end: 0, truncated: 0 };
      sizes.forEach(([w, h], level) => {
        for (let y = 0; y < h; y++) {
          for (let x = 0; x < w; x++) {
            const [u, v] = [Math.min(width - 1, x << level), Math.min(height - 1, y << level)];
            const tone = at(states[0].tones, u, v) & 255;
            const expected = peakTwin(states[level], x, y, tone, steps, unit);
            const second = secondTwin(states[level], x, y, tone);
            const stored = second.ordinal > 0 ? storedIndex(second.ordinal) : 0;
            expect([3, 4].map((plane) => at(found[level][plane], x, y))).toEqual([second.rise, stored]);
            if (second.ordinal > 0) seen.second++;
            else if (at(states[level].secondOrdinal, x, y) > 0) seen.dropped++;
            const peak = storedPeak(found[level], x, y);
            if (Number.isNaN(expected.depthIndex)) {
              seen.none++;
              expect(found[level].map((plane) => at(plane, x, y))).toEqual([0, 0, 0, 0, 0]);
              continue;
            }
            expect(peak.rise).toBe(expected.rise);
            expect(Math.abs(peak.depthIndex - expected.depthIndex)).toBeLessThan(0.51 / 64);
            expect(Math.abs(peak.weight - expected.weight)).toBeLessThan(0.51 / 64 + 1e-5 * expected.weight);
            if (expected.truncated) {
              seen.truncated++;
              expect(peak.gap).toBe(true);
            } else if (Math.abs(expected.fall - gapFall) > 1e-4) {
              expect(peak.gap).toBe(expected.missed);
            }
            if (peak.gap && peak.weight > 0) seen.gap++;
            if (Math.abs(expected.depthIndex - at(states[level].bestOrdinal, x, y)) > 0.51) seen.end++;
          }
        }
      });
      for (const count of Object.values(seen)) expect(count).toBeGreaterThan(20);
    },
  );

  /** Curves with peaks between the second and the last but one frame, as the three measures about them. */
  function seenCurves(steps: readonly number[], octavesAt: (offset: number, width: number) => number) {
    const at1 = [0, 0];
    for (const step of steps.slice(1, frames)) at1.push(at1[at1.length - 1] + step);
    const random = randomFrom(8);
    const curves = Array.from({ length: width * height }, () => ({
      depthIndex: at1[2] + random() * (at1[frames - 1] - at1[2]),
      width: 0.7 + random() * 3,
    }));
    const nearest = (i: number) => {
      const off = at1.map((at, ordinal) => (ordinal < 1 ? 1e9 : Math.abs(at - curves[i].depthIndex)));
      return off.indexOf(Math.min(...off));
    };
    const code = (i: number, ordinal: number) =>
      Math.round(20_000 - 512 * octavesAt(at1[ordinal] - curves[i].depthIndex, curves[i].width));
    const of = (value: (i: number) => number) => pictureOf(width, height, (x, y) => value(y * width + x));
    const state = {
      ...randomState(sizes[0], 1),
      best: of((i) => code(i, nearest(i))),
      before: of((i) => Math.max(1, code(i, nearest(i) - 1))),
      after: of((i) => Math.max(1, code(i, nearest(i) + 1))),
      bestOrdinal: of(nearest),
      secondOrdinal: of(() => 0),
    };
    const { levels } = findPeaks([state], { nearSign: 0, steps });
    const depthIndices = rig.read(levels[0], 1);
    const errors = curves.map(({ depthIndex }, i) => {
      const found = depthIndexAt(depthIndices.data[i]);
      const below = Math.min(frames - 1, Math.floor(found));
      return Math.abs(at1[below] + (found - below) * steps[below] - depthIndex);
    });
    return Math.max(...errors);
  }

  it.each([
    ['even', evenSteps],
    ['uneven', unevenSteps(9, 1.29)],
  ])('finds the peak of a Gaussian focus curve to 1/32 step, steps %s', (_, steps) => {
    const octaves = (offset: number, deviation: number) => (Math.LOG2E * (offset / deviation) ** 2) / 2;
    expect(seenCurves(steps, octaves)).toBeLessThan(1 / 32);
  });

  it('finds the peak of a curve with long tails to 1/32 step beside long steps', () => {
    const steps = evenSteps.map((step, k) => (k % 2 === 1 ? 1.9 : step));
    expect(seenCurves(steps, (offset, half) => 2 * Math.log2(1 + (offset / half) ** 2))).toBeLessThan(1 / 32);
  });

  it('does not change when measure and noise grow by the same number of octaves', () => {
    const states = sizes.map((size) => randomState(size, 5));
    const grow = (plane: Plane) =>
      pictureOf(plane.width, plane.height, (x, y) => at(plane, x, y) + (at(plane, x, y) > 0 ? 1536 : 0));
    const grown = states.map((state) => ({
      ...state,
      best: grow(state.best),
      before: grow(state.before),
      after: grow(state.after),
      second: grow(state.second),
    }));
    const raised = noiseCodes.map((code) => code + 1536);
    const [plain, scaled] = [
      findPeaks(states, { nearSign: 1, steps: unevenSteps(7) }),
      findPeaks(grown, { nearSign: 1, noise: raised, steps: unevenSteps(7) }),
    ].map(({ levels }) =>
      levels.flatMap((planes) => [0, 1, 2, 5, 7].map((plane) => Array.from(rig.read(planes, plane).data))),
    );
    expect(scaled).toEqual(plain);
  });

  it('mirrors with the order of the frames and the sign of near', () => {
    const states = sizes.map((size) => randomState(size, 6));
    const turn = (plane: Plane) =>
      pictureOf(plane.width, plane.height, (x, y) => at(plane, x, y) && frames + 1 - at(plane, x, y));
    const turned = states.map((state) => ({
      ...state,
      before: state.after,
      after: state.before,
      bestOrdinal: turn(state.bestOrdinal),
      secondOrdinal: turn(state.secondOrdinal),
    }));
    const steps = unevenSteps(6);
    const [plain, mirrored] = [
      findPeaks(states, { nearSign: 1, steps }),
      findPeaks(turned, { nearSign: -1, steps: steps.toReversed() }),
    ].map(({ levels }) => levels.map((planes) => [0, 1, 2, 5, 7].map((plane) => rig.read(planes, plane))));
    // Halves round up either way: a step of 1/64 frame.
    const turnedIndex = (depthIndex: number) =>
      depthIndex === 0 ? 0 : storedIndex(frames + 1 - depthIndexAt(depthIndex));
    plain.forEach(([rises, depthIndices, weights, seconds, secondPlaces], level) => {
      const other = mirrored[level];
      expect([other[0], other[2], other[3]]).toEqual([rises, weights, seconds]);
      const turnedPlaces = (plane: Plane) =>
        pictureOf(plane.width, plane.height, (x, y) => turnedIndex(at(plane, x, y)));
      expect(worstDifference(other[1], turnedPlaces(depthIndices))).toBeLessThanOrEqual(1);
      expect(worstDifference(other[4], turnedPlaces(secondPlaces))).toBe(0);
    });
  });
});
