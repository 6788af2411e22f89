import { beforeAll, describe, expect, it } from 'vitest';
import { spiralPoints } from '../../src/surface/spiral.js';
import { at, KernelRig, type Plane, pictureOf, randomFrom } from './kernel-rig.js';
import { tuned } from './tuned.js';

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

const [width, height] = [61, 45];
const [level, frames, blurPx, widestPx] = [2, 30, 0.9, 64];
const pitch = 2 ** level;
/** Stored depth indices are (ordinal + 4) x 64, rises 512 an octave. */
const fractionBits = 6;
const stored = (ordinal: number) => Math.round((ordinal + 4) * 64);
const octaves = (value: number) => Math.round(value * 512);
const points = spiralPoints(96, Math.sqrt);

interface Peaks {
  rises: Plane;
  depthIndices: Plane;
  weights: Plane;
  /** Rises of the level that is twice as fine. */
  fine: Plane;
}

function mark({ rises, depthIndices, weights, fine }: Peaks): Plane {
  const peaks = rig.storeCodes([rises, depthIndices, weights, rises]);
  const finer = rig.storeCodes([fine]);
  const table = rig.arena.take(points.byteLength);
  rig.arena.f32(table, points.length).set(points);
  const plane = (n: number) => peaks.pointer + n * peaks.planeBytes;
  rig.run(
    'markFalseRimsStrip',
    [
      ...[plane(0), plane(1), plane(2), plane(3), peaks.stride, width, height, pitch],
      ...[finer.pointer, finer.stride, 1, fine.width, fine.height],
      ...[blurPx, frames, table, points.length / 3, widestPx, fractionBits],
    ],
    height,
  );
  return rig.read(peaks, 3);
}

/** A strong edge down the middle, sharp at ordinal 22, and beside it what its blur makes of smooth ground. */
function edge(
  groundRise: (distancePx: number) => number,
  groundPlace: (distancePx: number) => number,
): Peaks {
  const distance = (x: number) => pitch * Math.abs(x - 30);
  const of = (value: (distancePx: number) => number) =>
    pictureOf(width, height, (x) => (Math.abs(x - 30) < 2 ? -1 : value(distance(x))));
  const fill = (plane: Plane, value: number) =>
    pictureOf(width, height, (x, y) => (at(plane, x, y) < 0 ? value : at(plane, x, y)));
  return {
    rises: fill(
      of((d) => octaves(groundRise(d))),
      octaves(14),
    ),
    depthIndices: fill(
      of((d) => stored(groundPlace(d))),
      stored(22),
    ),
    weights: pictureOf(width, height, () => 500),
    fine: pictureOf(2 * width, 2 * height, (x) => (Math.abs(x - 60) < 4 ? octaves(14) : 0)),
  };
}

/** Ordinal of the frame in which the edge's blur reaches so far. */
const blurReaches = (d: number) => Math.max(1, 22 - d / blurPx);

describe('markFalseRimsStrip', () => {
  it('marks the blur of an edge that passes over smooth ground', () => {
    // The energy of a blurred edge falls by four octaves as its radius doubles: disc of radius d, level of 4 px.
    const marks = mark(edge((d) => 14 - Math.max(2, 4 * Math.log2(d / pitch)), blurReaches));
    for (let y = 8; y < height - 8; y++) {
      for (const x of [25, 27, 33, 35]) expect([x, y, at(marks, x, y)]).toEqual([x, y, 1]);
      expect(at(marks, 30, y)).toBe(0);
    }
  });

  it.each([
    ['as strong as the edge', () => 13, blurReaches, [25, 26, 34, 35]],
    // Blur leaves nine octaves less at 20 px; here it is hardly three.
    [
      'stronger than blur leaves it',
      (d: number) => 14 - 1.2 * Math.log2(d / pitch),
      blurReaches,
      [25, 26, 34, 35],
    ],
    ['sharp where the edge is', () => 4, () => 21.5, [25, 26, 34, 35]],
    // 5 px of blur, a third more for its error, and three pixels of the level for the window: 19 px.
    ['where the blur does not reach', () => 4, () => 16, [22, 24, 36, 38]],
  ])('leaves ground %s', (_, rise, depthIndex, columns) => {
    const marks = mark(edge(rise, depthIndex));
    for (let y = 8; y < height - 8; y++) for (const x of columns) expect(at(marks, x, y)).toBe(0);
  });

  it('leaves what shows fine detail', () => {
    const peaks = edge((d) => 14 - Math.max(2, 4 * Math.log2(d / pitch)), blurReaches);
    expect(mark(peaks).data.some((value) => value > 0)).toBe(true);
    const fine = pictureOf(2 * width, 2 * height, () => octaves(13));
    expect(mark({ ...peaks, fine }).data.some((value) => value > 0)).toBe(false);
  });

  it('mirrors with the order of the frames', () => {
    const random = randomFrom(5);
    const of = (w: number, h: number, value: () => number) => pictureOf(w, h, value);
    const peaks: Peaks = {
      rises: of(width, height, () => octaves(14 * random() ** 3)),
      depthIndices: of(width, height, () => stored(1 + random() * (frames - 1))),
      weights: of(width, height, () => (random() < 0.1 ? 0x8000 : 400)),
      fine: of(2 * width, 2 * height, () => octaves(4 * random() ** 2)),
    };
    const turned = pictureOf(
      width,
      height,
      (x, y) => stored(1) + stored(frames) - at(peaks.depthIndices, x, y),
    );
    const marks = mark(peaks);
    const share = marks.data.reduce((sum, value) => sum + value, 0) / (width * height);
    expect(share).toBeGreaterThan(0.05);
    expect(share).toBeLessThan(0.95);
    expect(mark({ ...peaks, depthIndices: turned })).toEqual(marks);
  });
});

describe('dropFalseRimsStrip', () => {
  it('takes rise and weight under a mark that means the same place, and nothing else', () => {
    const random = randomFrom(9);
    const [w, h, shift] = [53, 37, 1];
    const [mw, mh] = [27, 19];
    const of = (cw: number, ch: number, value: () => number) => pictureOf(cw, ch, value);
    const planes = [
      of(w, h, () => 1 + Math.floor(random() * 5000)),
      of(w, h, () => stored(5 + 4 * random())),
      of(w, h, () => 1 + Math.floor(random() * 900)),
    ];
    const marked = [of(mw, mh, () => Number(random() < 0.5)), of(mw, mh, () => stored(5 + 4 * random()))];
    const peaks = rig.storeCodes(planes);
    const marks = rig.storeCodes(marked);
    const plane = (n: number) => peaks.pointer + n * peaks.planeBytes;
    rig.run(
      'dropFalseRimsStrip',
      [
        ...[plane(0), plane(1), plane(2), peaks.stride, w, h],
        ...[marks.pointer, marks.pointer + marks.planeBytes, marks.stride, shift, fractionBits],
      ],
      h,
    );
    const isDropped = (x: number, y: number) =>
      at(marked[0], x >> 1, y >> 1) === 1 &&
      Math.abs(at(planes[1], x, y) - at(marked[1], x >> 1, y >> 1)) <= tuned('samePeak64ths');
    for (const n of [0, 1, 2]) {
      const expected = pictureOf(w, h, (x, y) => (n !== 1 && isDropped(x, y) ? 0 : at(planes[n], x, y)));
      expect(rig.read(peaks, n)).toEqual(expected);
    }
  });
});
