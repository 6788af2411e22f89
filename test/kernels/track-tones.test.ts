import { beforeAll, describe, expect, it } from 'vitest';
import { statePlane } from '../../src/focus/focus-curves.js';
import { at, KernelRig, type Plane, pictureOf, randomFrom } from './kernel-rig.js';

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

/** Of the composite and of every frame; odd, so that levels 1 and 2 have pixels with fewer than all beneath. */
const [width, height] = [53, 37];
const frames = 16;
const margin = 2;
const prominence = 512;

/** Codes with one peak or two, the first or the second the higher, so that tones move from best to second. */
function curves(w: number, h: number, seed: number): Plane[] {
  const random = randomFrom(seed);
  const bells = Array.from({ length: w * h }, () => {
    const first = 2 + random() * 4;
    return [
      { depthIndex: first, rise: 2000 + random() * 6000 },
      { depthIndex: first + 5 + random() * 4, rise: random() < 0.7 ? 2000 + random() * 6000 : 0 },
    ];
  });
  return Array.from({ length: frames }, (_, k) =>
    pictureOf(w, h, (x, y) =>
      bells[y * w + x].reduce(
        (sum, { depthIndex, rise }) =>
          sum + Math.round(rise * Math.exp(-(((k + 1 - depthIndex) / 1.2) ** 2) / 2)),
        3000,
      ),
    ),
  );
}

/** Luma x 64 of a frame: slopes that no two frames share, from dark to bright. */
const lumaOf = (ordinal: number) =>
  pictureOf(width, height, (x, y) =>
    Math.round(64 * (12 + 13 * ordinal + (ordinal % 3 ? 0.4 : -0.2) * x + (ordinal % 2 ? 0.3 : -0.25) * y)),
  );

/** Luma, 0 to 255, where a pixel of the composite lies in a frame: bilinear, the last pixels repeated beyond the ends. */
function toneThere(luma: Plane, u: number, v: number): number {
  const column = Math.max(0, Math.min(width - 2, u));
  const row = Math.max(0, Math.min(height - 2, v));
  const [left, top] = [Math.floor(column), Math.floor(row)];
  const along = (y: number) => {
    const first = at(luma, left, y);
    return first + (column - left) * (at(luma, left + 1, y) - first);
  };
  return (along(top) + (row - top) * (along(top + 1) - along(top))) / 64;
}

interface Move {
  shift: readonly [number, number];
  roll: number;
}

/** The state of one level and its tones, which lie at the size of level 0. */
function track(level: 0 | 1 | 2, seed: number, { shift, roll }: Move) {
  const [w, h] = [width, height].map((side) => Math.ceil(side / 2 ** level));
  const state = rig.arena.takeCleared(w, h, 9, 2);
  const tones = rig.arena.takeCleared(width, height, 1, 2);
  const luma = Array.from({ length: frames }, (_, k) => lumaOf(k + 1));
  curves(w, h, seed).forEach((codes, k) => {
    const placed = rig.storeCodes([codes]);
    const guide = rig.storeCodes([luma[k]]);
    const scale = 2 ** level;
    rig.run(
      'trackStrip',
      [
        ...[placed.pointer, placed.stride, w, h],
        ...[guide.pointer, guide.stride, width, height],
        ...[tones.pointer, tones.stride, width, height, level],
        ...[1, -roll, shift[0] / scale, roll, 1, shift[1] / scale, margin],
        ...[state.pointer, state.planeBytes, state.stride, w, h],
        ...[k + 1, prominence],
      ],
      h,
    );
  });
  const [bests, seconds] = ['bestOrdinal', 'secondOrdinal'].map((name) =>
    rig.read(state, statePlane[name as keyof typeof statePlane]),
  );
  return { tones: rig.read(tones), bests, seconds, luma };
}

describe.each([
  ['still', { shift: [0, 0], roll: 0 }],
  ['shifted by parts of a pixel', { shift: [1.25, -2.6], roll: 0 }],
  ['shifted and rolled', { shift: [-0.7, 1.4], roll: 0.004 }],
] as const)('tones of trackStrip, frames %s', (_, move) => {
  it('are the luma in the frames of the best and of the second peak of level 0', () => {
    const { tones, bests, seconds, luma } = track(0, 7, move);
    const seen = { none: 0, one: 0, both: 0, secondFirst: 0 };
    let worst = 0;
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < width; x++) {
        const [best, second] = [at(bests, x, y), at(seconds, x, y)];
        const kept = at(tones, x, y);
        worst = Math.max(
          worst,
          misses(kept & 255, luma[best - 1], x, y),
          misses(kept >> 8, luma[second - 1], x, y),
        );
        if (best === 0) seen.none++;
        else if (second === 0) seen.one++;
        else seen.both++;
        if (second > 0 && second < best) seen.secondFirst++;
      }
    }
    // Half a step by cutting, and a part of one by the phase that eight pixels share.
    expect(worst).toBeLessThan(0.6);
    expect(Math.min(...Object.values(seen))).toBeGreaterThan(50);
  });

  it.each([1, 2] as const)(
    'are that of level 0 in the frame of the best of level %i, in a byte of its own',
    (level) => {
      const { tones, bests, luma } = track(level, 7 + level, move);
      let [worst, seen] = [0, 0];
      for (let y = 0; y < height; y++) {
        for (let x = 0; x < width; x++) {
          const best = at(bests, x >> level, y >> level);
          const kept = at(tones, x, y);
          const [own, other] = level === 1 ? [kept & 255, kept >> 8] : [kept >> 8, kept & 255];
          worst = Math.max(worst, misses(own, luma[best - 1], x, y));
          expect(other).toBe(0);
          if (best > 0) seen++;
        }
      }
      expect(worst).toBeLessThan(0.52);
      expect(seen).toBeGreaterThan(0.3 * width * height);
    },
  );

  /** Tones are cut to whole numbers, so half a step lower on average. */
  function misses(tone: number, luma: Plane | undefined, x: number, y: number): number {
    if (!luma) return tone;
    const [u, v] = [x - move.roll * y + move.shift[0], move.roll * x + y + move.shift[1]];
    return Math.abs(tone + 0.5 - toneThere(luma, u, v));
  }
});
