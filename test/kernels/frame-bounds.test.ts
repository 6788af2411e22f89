import { beforeAll, describe, expect, it } from 'vitest';
import { frameBytes, frameTable } from '../../src/image/frame-reach.js';
import { applyMatrix, type Matrix3, similarityMatrix } from '../../src/image/transform.js';
import { at, KernelRig, pictureOf, randomFrom } from './kernel-rig.js';

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

const margin = 3;
const [width, height, count] = [70, 51, 7];
const frame = { width: width + 2, height: height + 1 };

/** Frames that grow from the first to the last, each shifted a little: outer pixels are reached by some alone. */
function growingFrames(growth: number, shiftPx: number, seed: number): Matrix3[] {
  const random = randomFrom(seed);
  const spread = () => shiftPx * (2 * random() - 1);
  return Array.from({ length: count }, (_, k) =>
    similarityMatrix(
      { scale: 1 + growth * (k - 3), rollRad: 0.002 * spread(), shiftXPx: spread(), shiftYPx: spread() },
      width,
      height,
    ),
  );
}

describe('markTruncatedStrip', () => {
  it.each([
    ['a rail, steady', 0.02, 0],
    ['a lens that breathes, steady', -0.02, 0],
    ['a rail, shifted', 0.02, 4],
    ['a copy stand, shifted', 0, 4],
  ])('marks curves whose best or second frame is the last that reaches: %s', (_, growth, shiftPx) => {
    const random = randomFrom(7);
    const toFrame = growingFrames(growth, shiftPx, 3);
    const reached = (k: number, x: number, y: number, room: number) => {
      const [u, v] = applyMatrix(toFrame[k], x, y);
      return Math.min(u, v, frame.width - 1 - u, frame.height - 1 - v) >= room;
    };
    // Ordinals of measured frames, the best of them, and its neighbours where they were measured.
    const blank = () => pictureOf(width, height, () => 0);
    const [best, before, after, latest, valley, second, bestOrdinal, secondOrdinal] = Array.from(
      { length: 8 },
      blank,
    );
    for (let i = 0; i < width * height; i++) {
      const [x, y] = [i % width, Math.floor(i / width)];
      // The tracker measures a little farther out than the margin of the marks.
      const measured = Array.from({ length: count }, (_, k) => k + 1).filter((k) => reached(k - 1, x, y, 2));
      latest.data[i] = 5000;
      if (measured.length === 0 || random() < 0.05) continue;
      const pick = () => measured[Math.floor(random() * measured.length)];
      bestOrdinal.data[i] = pick();
      best.data[i] = 6000;
      before.data[i] = measured.includes(bestOrdinal.data[i] - 1) ? 5500 : 0;
      after.data[i] = measured.includes(bestOrdinal.data[i] + 1) ? 5500 : 0;
      if (random() < 0.3) secondOrdinal.data[i] = pick();
    }
    const planes = rig.storeCodes([
      ...[best, before, after, latest, valley, second, bestOrdinal, secondOrdinal],
    ]);
    const table = rig.arena.take(12);
    rig.arena.u32(table, 3).set([planes.pointer, planes.planeBytes, planes.stride]);
    const frames = rig.arena.take(count * frameBytes);
    rig.arena.f64(frames, count * 7).set(frameTable(toFrame, 0, () => margin));
    const last = [frame.width - 1, frame.height - 1];
    rig.run('markTruncatedStrip', [table, 0, width, height, frames, count, ...last], height);
    const marks = rig.read(planes, 3);
    const seen = { best: 0, second: 0, whole: 0 };
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < width; x++) {
        const inside = Array.from({ length: count }, (_, k) => reached(k, x, y, margin));
        /** Frames exist on this side of the ordinal, and none of them reaches. */
        const endsAt = (ordinal: number, side: -1 | 1) => {
          const beyond = inside.filter((_, k) => (k + 1 - ordinal) * side > 0);
          return beyond.length > 0 && beyond.every((isIn) => !isIn);
        };
        const own = at(bestOrdinal, x, y);
        const other = at(secondOrdinal, x, y);
        const isRim = own > 0 && inside.some((isIn) => !isIn);
        const isBest =
          isRim && ((at(before, x, y) === 0 && endsAt(own, -1)) || (at(after, x, y) === 0 && endsAt(own, 1)));
        const isSecond = isRim && other > 0 && (endsAt(other, -1) || endsAt(other, 1));
        expect(at(marks, x, y)).toBe((isBest ? 1 : 0) + (isSecond ? 2 : 0));
        if (isBest) seen.best++;
        if (isSecond) seen.second++;
        if (!isBest && !isSecond) seen.whole++;
      }
    }
    for (const number of Object.values(seen)) expect(number).toBeGreaterThan(20);
  });
});
