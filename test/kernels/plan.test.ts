import { beforeAll, describe, expect, it } from 'vitest';
import { FrameReach, frameTable, marginOf } from '../../src/image/frame-reach.js';
import { affineAtLevel } from '../../src/image/placed-frame.js';
import { applyMatrix, identityMatrix, type Matrix3, similarityMatrix } from '../../src/image/transform.js';
import { at, KernelRig, type Plane, pictureOf, randomFrom, stripRows } from './kernel-rig.js';

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

const fullWeight = 320;
const tileColumns = 64;
/** Peaks this near to a depth index mean it, 1/64 frame: any will do. */
const sameIndex = 144;
/** How far around a pixel of a gap others are asked, px: as in judgeStrip. */
const gapReach = 3;
/** Stored depth indices are (ordinal + 4) x 64: six fraction bits. */
const fractionBits = 6;
const stored = (ordinal: number) => Math.round((ordinal + 4) * 64);

function randomPlaces(width: number, height: number, seed: number, count = 9): Plane {
  const random = randomFrom(seed);
  // From before the first to behind the last frame.
  return pictureOf(width, height, () => stored(-2 + random() * (count + 5)));
}

describe('halveIndicesStrip', () => {
  const halve = (fine: Plane, nearSign: number, oneMap = false, apart = 0) => {
    const [width, height] = [(fine.width + 1) >> 1, (fine.height + 1) >> 1];
    const from = rig.storeCodes([fine]);
    const blank = pictureOf(width, height, () => 7);
    const to = rig.storeCodes([blank, blank]);
    const near = oneMap ? to.pointer : to.pointer + to.planeBytes;
    const args = [from.pointer, from.stride, fine.width, fine.height, to.pointer, near, to.stride];
    rig.run('halveIndicesStrip', [...args, width, height, nearSign, apart], height);
    return { median: rig.read(to, 0), near: rig.read(to, 1) };
  };

  it.each([
    [53, 37, 1],
    [30, 21, -1],
    [7, 2, 1],
    [2, 9, -1],
  ])('takes the median of nine, and the nearest of them, %i x %i, nearSign %i', (width, height, sign) => {
    const fine = randomPlaces(width, height, 3);
    const found = halve(fine, sign);
    const edge = (i: number, n: number) => Math.max(0, Math.min(n - 1, i));
    const nine = (x: number, y: number) =>
      [-1, 0, 1]
        .flatMap((j) => [-1, 0, 1].map((i) => at(fine, edge(2 * x + i, width), edge(2 * y + j, height))))
        .sort((first, second) => first - second);
    const [w, h] = [(width + 1) >> 1, (height + 1) >> 1];
    expect(found.median).toEqual(pictureOf(w, h, (x, y) => nine(x, y)[4]));
    expect(found.near).toEqual(pictureOf(w, h, (x, y) => nine(x, y)[sign > 0 ? 0 : 8]));
  });

  it('mirrors with the order of the frames and the sign of near', () => {
    const fine = randomPlaces(53, 37, 4);
    const turn = (plane: Plane) =>
      pictureOf(plane.width, plane.height, (x, y) => 2 * stored(5) - at(plane, x, y));
    const plain = halve(fine, 1);
    const mirrored = halve(turn(fine), -1);
    expect(mirrored).toEqual({ median: turn(plain.median), near: turn(plain.near) });
  });

  it('lets the nearest win only where it is nearer by enough', () => {
    const fine = randomPlaces(53, 37, 6);
    const [all, apart] = [halve(fine, 1), halve(fine, 1, false, 100)];
    const expected = pictureOf(all.near.width, all.near.height, (x, y) => {
      const [median, near] = [at(all.median, x, y), at(all.near, x, y)];
      return median - near > 100 ? near : median;
    });
    expect(apart).toEqual({ median: all.median, near: expected });
    expect(expected).not.toEqual(all.near);
  });

  it('leaves one map where near is not asked for', () => {
    const fine = randomPlaces(53, 37, 5);
    expect(halve(fine, 0, true).median).toEqual(halve(fine, 1).median);
  });
});

interface Stack {
  toFrame: readonly Matrix3[];
  frame: { width: number; height: number };
}

/** Random scales, rolls and shifts about one shift; frame 1 is the anchor when that is 0. */
function randomStack(
  width: number,
  height: number,
  count: number,
  seed: number,
  { rollRad = 0.02, offsetPx = 0 } = {},
): Stack {
  const random = randomFrom(seed);
  const spread = (range: number) => (2 * random() - 1) * range;
  const toFrame = Array.from({ length: count }, (_, k): Matrix3 => {
    if (k === 0) return [1, 0, offsetPx, 0, 1, 0, 0, 0, 1];
    const [scale, roll] = [1 + spread(0.06), spread(rollRad)];
    const [shiftXPx, shiftYPx] = [offsetPx + spread(9), spread(9)];
    return similarityMatrix({ scale, rollRad: roll, shiftXPx, shiftYPx }, width, height);
  });
  return { toFrame, frame: { width: width + 3, height: height - 2 } };
}

/** Whether a frame reaches a pixel of a level; undefined within rounding of its border. */
function isInside({ toFrame, frame }: Stack, k: number, level: number, x: number, y: number) {
  const m = toFrame[k];
  // In pixels of the full size, where the margin is told: 2 px for a frame that is resampled.
  const [u, v] = applyMatrix(m, x * 2 ** level, y * 2 ** level);
  const margin = m.every((value, i) => value === identityMatrix[i]) ? 0 : 2;
  const room = Math.min(u, v, frame.width - 1 - u, frame.height - 1 - v) - margin;
  return room !== 0 && Math.abs(room) < 1e-6 ? undefined : room >= 0;
}

/** How much nearer something thin must be to be laid over the rest, 1/64 frame. */
const frontApart = 3 * 64;

interface PlanInput {
  depthIndices: Plane;
  weights: Plane;
  /** Planes 0 to 6 of the level's peaks. */
  peaks: readonly Plane[] | undefined;
  level: number;
  rule: 'auto' | 'select' | 'weigh';
  stack: Stack;
  /** Surface and front layers of level 0; by default nothing is to be found in them. */
  full?: { depthIndices: Plane; fronts: Plane };
}

function plan({ depthIndices, weights, peaks, level, rule, stack, full }: PlanInput) {
  const { toFrame, frame } = stack;
  const { width, height } = depthIndices;
  const count = toFrame.length;
  const from = rig.storeCodes([depthIndices]);
  const sure = rig.storeCodes([weights]);
  const own = peaks && rig.storeCodes(peaks);
  const out = rig.storeCodes([depthIndices, depthIndices]);
  const blank = pictureOf(weights.width, weights.height, () => 0);
  const fullIndices = rig.storeCodes([full?.depthIndices ?? blank]);
  const fullFronts = rig.storeCodes([full?.fronts ?? blank]);
  const frames = rig.arena.take(count * 56);
  rig.arena.f64(frames, count * 7).set(frameTable(toFrame, level));
  const tiles = Math.ceil(width / tileColumns) * Math.ceil(height / stripRows);
  const usesBytes = (count + 8) >> 3;
  const sources = rig.arena.take(width * height * 2);
  const uses = rig.arena.take(tiles * usesBytes);
  rig.arena.u8(uses, tiles * usesBytes).fill(0);
  rig.run(
    'planStrip',
    [
      from.pointer,
      from.stride,
      fullIndices.pointer,
      sure.pointer,
      sure.stride,
      weights.width,
      weights.height,
      fullWeight,
      fullFronts.pointer,
      fullFronts.stride,
      own?.pointer ?? 0,
      own?.planeBytes ?? 0,
      own?.stride ?? 0,
      own ? own.pointer + 5 * own.planeBytes : 0,
      frontApart,
      sameIndex,
      1,
      out.pointer,
      out.pointer + out.planeBytes,
      0,
      out.stride,
      width,
      height,
      level,
      ['auto', 'select', 'weigh'].indexOf(rule),
      fractionBits,
      frames,
      count,
      (frame.width - 1) / 2 ** level,
      (frame.height - 1) / 2 ** level,
      level === 0 ? sources : 0,
      level === 0 ? uses : 0,
      usesBytes,
    ],
    height,
  );
  const packed = rig.read(out, 1);
  const named = rig.arena.u16(sources, width * height).slice();
  const bytes = rig.arena.u8(uses, tiles * usesBytes).slice();
  return {
    centre: rig.read(out, 0),
    reach: pictureOf(width, height, (x, y) => 4 * (at(packed, x, y) & 63)),
    front: (x: number, y: number) => at(packed, x, y) >> 6,
    source: (x: number, y: number) => named[y * width + x],
    isUsed: (x: number, y: number, ordinal: number) => {
      const tile = Math.floor(y / stripRows) * Math.ceil(width / tileColumns) + Math.floor(x / tileColumns);
      return ((bytes[tile * usesBytes + (ordinal >> 3)] >> (ordinal & 7)) & 1) === 1;
    },
  };
}

/** Random peaks of a level: half of them near the surface, rises about the four octaves that overrule it. */
function randomPeaks(depthIndices: Plane, count: number, seed: number): Plane[] {
  const random = randomFrom(seed);
  const { width, height } = depthIndices;
  const of = (value: (x: number, y: number) => number) => pictureOf(width, height, value);
  const blank = of(() => 9);
  const rise = of(() => Math.floor(random() * 4096));
  const depthIndex = of((x, y) =>
    random() < 0.5
      ? at(depthIndices, x, y) + Math.floor(random() * 40 - 20)
      : stored(1 + random() * (count - 1)),
  );
  const ordinal = of(() => Math.floor(random() * (count + 1)));
  const front = of(() => Math.max(0, Math.floor((random() * 2 - 1) * count)));
  return [rise, depthIndex, blank, blank, blank, front, ordinal];
}

const planCases = [0, 1, 2, 3].flatMap((level) =>
  (['auto', 'select', 'weigh'] as const).map((rule) => ({ level, rule })),
);

describe('planStrip', () => {
  const full = { width: 155, height: 83 };
  const count = 9;

  it.each(planCases)(
    'finds centre, reach and source of each pixel, level $level, $rule',
    ({ level, rule }) => {
      // Shifted, so that no frame covers the whole composite.
      const stack = randomStack(full.width, full.height, count, 6 + level, { offsetPx: -12 });
      const random = randomFrom(level);
      const [width, height] = [Math.ceil(full.width / 2 ** level), Math.ceil(full.height / 2 ** level)];
      const depthIndices = randomPlaces(width, height, 7, count);
      const weights = pictureOf(full.width, full.height, () => Math.floor(random() * 500));
      const peaks = randomPeaks(depthIndices, count, 8);
      // A few scattered depth indices, so that a coarse pixel's window holds some and not all.
      const sparse = (value: () => number) =>
        pictureOf(full.width, full.height, () => (random() < 0.03 ? value() : 0));
      const fullIndices = sparse(() => stored(1 + random() * count));
      const fullFronts = sparse(() => 1 + Math.floor(random() * count));
      const found = plan({
        ...{ depthIndices, weights, peaks, level, rule, stack },
        full: { depthIndices: fullIndices, fronts: fullFronts },
      });
      /** Whether level 0 has something near `depth index` in the window of a coarse pixel. */
      const isThere = (depthIndex: number, x: number, y: number) => {
        for (let j = -3; j <= 3; j++) {
          for (let i = -3; i <= 3; i++) {
            const u = Math.max(0, Math.min(full.width - 1, (x + i) * 2 ** level));
            const v = Math.max(0, Math.min(full.height - 1, (y + j) * 2 ** level));
            const front = at(fullFronts, u, v);
            if (Math.abs(at(fullIndices, u, v) / 64 - 4 - depthIndex) <= sameIndex / 64) return true;
            if (front > 0 && Math.abs(front - depthIndex) <= sameIndex / 64) return true;
          }
        }
        return false;
      };
      const seen = { none: 0, moved: 0, own: 0, laid: 0, compared: 0, unfounded: 0 };
      const wrong: string[] = [];
      const check = (good: boolean, what: string) => {
        if (!good) wrong.push(what);
      };
      for (let y = 0; y < height; y++) {
        for (let x = 0; x < width; x++) {
          // A plain reading of the rule, in frames.
          let centre = at(depthIndices, x, y) / 64 - 4;
          const weight = at(
            weights,
            Math.min(full.width - 1, x << level),
            Math.min(full.height - 1, y << level),
          );
          const unsure = 1 - Math.min(1, weight / fullWeight);
          let reach = 84 / 64;
          // Kept to 1/16 frame.
          if (level < 3) reach = Math.floor(16 * Math.max(reach, 1 + (unsure * (252 - 64)) / 64)) / 16;
          const [rise, depthIndex, ordinal] = [peaks[0], peaks[1], peaks[6]].map((plane) => at(plane, x, y));
          if (rule === 'select') {
            if (ordinal > 0) centre = ordinal;
            reach = 60 / 64;
          } else if (rule === 'auto') {
            const own = depthIndex / 64 - 4;
            // Something near that can be laid over the rest does not take its place.
            let nearer = level < 3 ? at(peaks[5], x, y) : 0;
            // A coarse level is believed only where the finest has the same.
            if (level > 0 && nearer > 0 && !isThere(nearer, x, y)) nearer = 0;
            const isFounded = level === 0 || Math.abs(own - centre) < sameIndex / 64 || isThere(own, x, y);
            const isLaid = nearer > 0 && Math.min(centre - nearer, centre - own) > frontApart / 64;
            if (rise > 3 * 512 && !isFounded) seen.unfounded++;
            if (rise > 3 * 512 && !isLaid && isFounded) {
              centre = own;
              reach = 84 / 64;
              seen.own++;
            }
            // Faint detail is told by a reach just wider than that of what is restored.
            if (rise < 3 * 512) reach = Math.max(reach, 88 / 64);
          }
          centre = Math.max(1, Math.min(count, centre));
          const reaching = Array.from({ length: count }, (_, k) => isInside(stack, k, level, x, y));
          if (reaching.includes(undefined)) continue;
          seen.compared++;
          const distances = reaching.map((here, k) =>
            here ? Math.abs(k + 1 - centre) : Number.POSITIVE_INFINITY,
          );
          const least = Math.min(...distances);
          if (level === 0) {
            const source = found.source(x, y);
            const isRight = least < Number.POSITIVE_INFINITY ? distances[source - 1] === least : source === 0;
            check(isRight, `source ${source} at ${x} ${y}`);
          }
          const isMoved = least > 0.7 * reach && !reaching.every((here) => here);
          if (least === Number.POSITIVE_INFINITY) seen.none++;
          else if (isMoved) {
            // The nearest frame that reaches keeps a weight: the centre comes within 0.7 of the reach.
            const nearest = distances.indexOf(least) + 1;
            centre = nearest + 0.7 * reach * Math.sign(centre - nearest);
            seen.moved++;
          }
          const [foundCentre, foundReach] = [at(found.centre, x, y), at(found.reach, x, y)];
          check(Math.abs(foundCentre - centre * 64) <= 1.71, `centre ${foundCentre} at ${x} ${y}`);
          check(Math.abs(foundReach - reach * 64) <= 4, `reach ${foundReach} at ${x} ${y}`);
          // Something nearer is laid over the finest three levels.
          const near = at(peaks[5], x, y);
          const isNear = level < 3 && near > 0 && (level === 0 || isThere(near, x, y));
          const isLaid = rule === 'auto' && isNear && foundCentre - 64 * near > frontApart;
          if (isLaid) seen.laid++;
          // A centre that is moved to where frames reach may come to lie behind it.
          if (!isMoved)
            check(found.front(x, y) === (isLaid ? near : 0), `front ${found.front(x, y)} at ${x} ${y}`);
          if (level === 0 && isLaid) check(found.isUsed(x, y, near), `no use of ${near} at ${x} ${y}`);
        }
      }
      expect(wrong).toEqual([]);
      expect(seen.compared).toBeGreaterThan(0.95 * width * height);
      expect(seen.none).toBeGreaterThan(4);
      expect(seen.moved).toBeGreaterThan(10);
      if (rule === 'auto') expect(seen.own).toBeGreaterThan(20);
      if (rule === 'auto' && level < 3) expect(seen.laid).toBeGreaterThan(10);
      if (rule === 'auto' && level > 0) expect(seen.unfounded).toBeGreaterThan(10);
    },
  );

  it('names the frames that have weight in a tile, and no others', () => {
    const stack = randomStack(full.width, full.height, 20, 3);
    // A slope, so that tiles differ; sure on one side, unsure on the other.
    const depthIndices = pictureOf(full.width, full.height, (x, y) => stored(1 + x / 12 + y / 20));
    const weights = pictureOf(full.width, full.height, (x) => 4 * x);
    const found = plan({ depthIndices, weights, peaks: undefined, level: 0, rule: 'weigh', stack });
    for (let top = 0; top < full.height; top += stripRows) {
      for (let left = 0; left < full.width; left += tileColumns) {
        for (let ordinal = 1; ordinal <= 20; ordinal++) {
          let weighs = false;
          for (let y = top; y < Math.min(full.height, top + stripRows); y++) {
            for (let x = left; x < Math.min(full.width, left + tileColumns); x++) {
              weighs ||= Math.abs(ordinal * 64 - at(found.centre, x, y)) < at(found.reach, x, y);
            }
          }
          expect(found.isUsed(left, top, ordinal)).toBe(weighs);
        }
      }
    }
  });
});

describe('reach', () => {
  const motions = [0.03, 0.002, 0].flatMap((rollRad) =>
    [0, 1, 3, 5].map((level) => ({ rollRad, level, count: 7 })),
  );

  it.each(motions)(
    'is where frames weigh, as FrameReach says, level $level, roll up to $rollRad rad',
    (motion) => {
      const { level, rollRad, count } = motion;
      const full = { width: 131, height: 97 };
      const stack = randomStack(full.width, full.height, count, 40 + level, { rollRad });
      const [width, height] = [Math.ceil(full.width / 2 ** level), Math.ceil(full.height / 2 ** level)];
      const frameReach = new FrameReach(stack.toFrame, stack.frame, width, level);
      const picture = rig.store([0, 1, 2].map(() => pictureOf(width, height, () => 100)));
      const seen = { outside: 0, unlike: 0, untrue: 0 };
      for (let k = 0; k < count; k++) {
        const acc = rig.arena.takeCleared(width, height, 3, 4);
        const sum = rig.arena.takeCleared(width, height, 1, 4);
        const [centre, one] = [64, 16].map((code) => rig.storeCodes([pictureOf(width, height, () => code)]));
        rig.run(
          'accumulateStrip',
          [
            picture.pointer,
            picture.stride,
            picture.planeBytes,
            width,
            height,
            ...[0, 0, 0],
            acc.pointer,
            acc.planeBytes,
            sum.pointer,
            ...[centre.pointer, one.pointer, 0, 1, fractionBits],
            ...affineAtLevel(stack.toFrame[k], level),
            (stack.frame.width - 1) / 2 ** level,
            (stack.frame.height - 1) / 2 ** level,
            marginOf(stack.toFrame[k]) / 2 ** level,
          ],
          height,
        );
        const weights = rig.read(sum);
        for (let y = 0; y < height; y++) {
          frameReach.enterRow(y);
          for (let x = 0; x < width; x++) {
            const here = x >= frameReach.from[k] && x < frameReach.to[k];
            if (at(weights, x, y) !== Number(here)) seen.unlike++;
            if (isInside(stack, k, level, x, y) === !here) seen.untrue++;
            if (!here) seen.outside++;
          }
          expect(frameReach.allFrom).toBe(Math.max(...frameReach.from));
          expect(frameReach.allTo).toBe(Math.min(...frameReach.to));
        }
      }
      expect(seen).toMatchObject({ unlike: 0, untrue: 0 });
      expect(seen.outside).toBeGreaterThan(level < 5 ? 50 : 0);
    },
  );

  it('leaves a pixel without source exactly where no frame reaches', () => {
    const [width, height] = [155, 83];
    const stack = randomStack(width, height, 5, 9, { rollRad: 0.05, offsetPx: 7 });
    const depthIndices = randomPlaces(width, height, 1, 5);
    const weights = pictureOf(width, height, () => 100);
    const found = plan({ depthIndices, weights, peaks: undefined, level: 0, rule: 'weigh', stack });
    const frameReach = new FrameReach(stack.toFrame, stack.frame, width, 0);
    let none = 0;
    let wrong = 0;
    for (let y = 0; y < height; y++) {
      frameReach.enterRow(y);
      for (let x = 0; x < width; x++) {
        const reached = stack.toFrame.some((_, k) => x >= frameReach.from[k] && x < frameReach.to[k]);
        if (found.source(x, y) > 0 !== reached) wrong++;
        if (!reached) none++;
      }
    }
    expect(wrong).toBe(0);
    expect(none).toBeGreaterThan(20);
  });
});

describe('judgeStrip', () => {
  // The steps after frames 3 and 7 are long; their frames reach 20 and 10 of 64 parts into them.
  const long = [0, 0, 0, 20, 0, 0, 0, 10, 0, 0];
  it.each([
    { name: 'long steps', reaches: long },
    { name: 'no long step', reaches: long.map(() => 0) },
  ])(
    'tells confidence and coverage from depth index, weight, certainty, gap and the frames that reach ($name)',
    ({ reaches }) => {
      const [width, height, count] = [93, 67, 9];
      const random = randomFrom(5);
      // In some rows all is plainly covered, as in most of a picture.
      const isPlain = (x: number, y: number) => y % 9 === 4 && x > 6;
      const depthIndices = pictureOf(width, height, (x, y) =>
        stored(isPlain(x, y) ? 1 + random() * (count - 1) : -1 + random() * (count + 3)),
      );
      const weights = pictureOf(width, height, (x, y) =>
        isPlain(x, y) ? 200 + Math.floor(random() * 500) : Math.floor(random() ** 3 * 700),
      );
      const [truncated, leaked] = [1, 2];
      const gaps = pictureOf(width, height, (x, y) => {
        if (isPlain(x, y)) return 0;
        if (random() < 0.1) return truncated;
        if (random() < (y < height / 2 ? 0.05 : 0.5)) return leaked;
        return random() < (x < width / 2 ? 0.6 : 0.3) ? 0x8000 : 0;
      });
      const certainties = pictureOf(width, height, () =>
        random() < 0.1 ? 0 : 1 + Math.floor(random() * 255),
      );
      const planes = rig.storeCodes([depthIndices, weights, gaps, certainties]);
      const isMissed = (x: number, y: number) => at(gaps, x, y) === 0x8000;
      // A gap is what most curves about it have missed as well.
      const isGap = (x: number, y: number) => {
        let [missed, known] = [0, 0];
        for (let v = Math.max(0, y - gapReach); v <= Math.min(height - 1, y + gapReach); v++) {
          for (let u = Math.max(0, x - gapReach); u <= Math.min(width - 1, x + gapReach); u++) {
            if (at(weights, u, v) === 0) continue;
            known++;
            if (isMissed(u, v)) missed++;
          }
        }
        return isMissed(x, y) && 2 * missed > known;
      };
      // A pixel that shows nothing itself has no detail where more of those around it are leaks than show theirs.
      const isBesideDetail = (x: number, y: number) => {
        if (at(certainties, x, y) > 0 && at(gaps, x, y) !== leaked) return false;
        let [leaks, own] = [0, 0];
        for (let v = Math.max(0, y - gapReach); v <= Math.min(height - 1, y + gapReach); v++) {
          for (let u = Math.max(0, x - gapReach); u <= Math.min(width - 1, x + gapReach); u++) {
            if (at(gaps, u, v) === leaked) leaks++;
            else if (at(certainties, u, v) > 0) own++;
          }
        }
        return leaks > own;
      };
      const hasLongStep = reaches.some((part) => part > 0);
      const table = rig.arena.take(4 * reaches.length);
      rig.arena.i32(table, reaches.length).set(reaches);
      const { toFrame, frame } = randomStack(width, height, count, 6);
      const frames = rig.arena.take(count * 56);
      rig.arena.f64(frames, count * 7).set(frameTable(toFrame, 0));
      const [confidence, coverage] = [rig.arena.take(width * height), rig.arena.take(width * height)];
      const pointers = [0, 1, 2, 3].map((plane) => planes.pointer + plane * planes.planeBytes);
      const [last, maps] = [
        [frame.width - 1, frame.height - 1],
        [confidence, coverage],
      ];
      rig.run(
        'judgeStrip',
        [
          ...[
            ...pointers,
            planes.stride,
            width,
            height,
            fullWeight,
            count,
            table,
            Number(hasLongStep),
            fractionBits,
          ],
          ...[frames, ...last, ...maps],
        ],
        height,
      );
      const [shares, kinds] = maps.map((map) => rig.arena.u8(map, width * height));
      const frameReach = new FrameReach(toFrame, frame, width, 0);
      const counts = [0, 0, 0, 0, 0, 0];
      let wrong = 0;
      for (let i = 0; i < width * height; i++) {
        const [x, y] = [i % width, Math.floor(i / width)];
        if (x === 0) frameReach.enterRow(y);
        const isReached = (ordinal: number) =>
          x >= frameReach.from[ordinal - 1] && x < frameReach.to[ordinal - 1];
        const share = Math.min(1, weights.data[i] / fullWeight);
        const depthIndex = depthIndices.data[i] / 64 - 4;
        // The frame at an end of the stack, or one within three quarters of a step, or half a long one.
        const inside = Math.max(1, Math.min(count, depthIndex));
        const isSharpIn = (ordinal: number) => {
          const isLong = reaches[Math.floor(inside)] > 0 && inside !== Math.floor(inside);
          return Math.abs(ordinal - inside) <= (isLong ? 0.5 : 0.75) && isReached(ordinal);
        };
        const ordinals = Array.from({ length: count }, (_, k) => k + 1);
        const isInReach = ordinals.some(isSharpIn) && gaps.data[i] !== truncated;
        // Less than a twentieth is no detail; half a frame is still sharp, three quarters beyond the ends no more.
        let kind = 0;
        if (!ordinals.every(isReached) && !isInReach) kind = 5;
        else if (share < 1 / 8 || isBesideDetail(x, y)) kind = 4;
        else if (depthIndex < 1 - 0.75) kind = 1;
        else if (depthIndex > count + 0.75) kind = 2;
        else if (hasLongStep && depthIndex >= 3 && depthIndex < 4)
          kind = Math.min(depthIndex - 3, 4 - depthIndex) > 20 / 64 ? 3 : 0;
        else if (hasLongStep && depthIndex >= 7 && depthIndex < 8)
          kind = Math.min(depthIndex - 7, 8 - depthIndex) > 10 / 64 ? 3 : 0;
        else if (isGap(x, y)) kind = 3;
        const sure = Math.min(255 * share, certainties.data[i]);
        if (kinds[i] !== kind || Math.abs(shares[i] - (kind === 5 ? 0 : sure)) > 0.5) wrong++;
        counts[kind]++;
      }
      expect(wrong).toBe(0);
      expect(Math.min(...counts)).toBeGreaterThan(20);
    },
  );
});
