import { beforeAll, describe, expect, it } from 'vitest';
import { isLeak } from './decide-twin.js';
import { fractionBits, levelTable, names, randomState, type State, storedIndex } from './focus-state.js';
import { at, KernelRig, type Plane, pictureOf } from './kernel-rig.js';
import { randomScene } from './label-scene.js';
import { unitsOf } from './label-twin.js';
import { tuned } from './tuned.js';

let rig: KernelRig;
beforeAll(async () => {
  rig = await KernelRig.start();
});

const leakBit = 0x4000;

/** Marks levels 1 and coarser, from the finest on; the weights of each. */
function markLeaks(states: readonly State[], unit: number): Plane[] {
  const levels = states.map((state) => rig.storeCodes(names.map((name) => state[name])));
  const table = levelTable(rig, levels);
  for (let level = 1; level < levels.length; level++) {
    const [fine, here] = [levels[level - 1], levels[level]];
    const sizes = [here.width, here.height, fine.width, fine.height];
    rig.run('markLeaksStrip', [table, level, ...sizes, unit, fractionBits], here.height);
  }
  return levels.map((planes) => rig.read(planes, names.indexOf('after')));
}

/** The plain twin: leaks of one level, by the finer one and its leaks. */
function leaksOf(fine: State, isFineLeak: Plane, here: State, unit: number): Plane {
  const { width, height } = here.best;
  const { width: fineWidth, height: fineHeight } = fine.best;
  const least = 512 * tuned('minPeakOctaves');
  const shown = 512 * tuned('clearOctaves');
  const same = Math.trunc(unitsOf(tuned('sameUnits'), unit));
  return pictureOf(width, height, (x, y) => {
    const [rise, index] = [at(here.best, x, y), at(here.before, x, y)];
    if (rise < least) return 0;
    const isSame = (other: number) => Math.abs(other - index) < same;
    for (const [i, j] of [
      [0, 0],
      [1, 0],
      [0, 1],
      [1, 1],
    ]) {
      const u = Math.min(fineWidth - 1, 2 * x + i);
      const v = Math.min(fineHeight - 1, 2 * y + j);
      const isFirst = at(fine.best, u, v) >= shown && isSame(at(fine.before, u, v));
      if (isFirst && at(isFineLeak, u, v) === 0) return 0;
      if (at(fine.second, u, v) >= shown && isSame(at(fine.secondOrdinal, u, v))) return 0;
    }
    /** Signs of the offsets at which the finer level shows this depth index itself, from a height on. */
    const sides = (radius: number, height: number) => {
      const found = new Set<string>();
      for (let v = Math.max(0, 2 * (y - radius)); v < Math.min(fineHeight, 2 * (y + radius + 1)); v++) {
        for (let u = Math.max(0, 2 * (x - radius)); u < Math.min(fineWidth, 2 * (x + radius + 1)); u++) {
          if (at(fine.best, u, v) < height) continue;
          if (at(isFineLeak, u, v) > 0 || !isSame(at(fine.before, u, v))) continue;
          found.add(`${u > 2 * x ? 'east' : 'west'} ${v > 2 * y ? 'south' : 'north'}`);
        }
      }
      return found;
    };
    const close = sides(tuned('leakRadius'), least);
    const isBetween =
      (close.has('west north') && close.has('east south')) ||
      (close.has('east north') && close.has('west south'));
    return !isBetween && sides(tuned('leakRadius'), rise).size > 0 ? 1 : 0;
  });
}

describe.each([
  [53, 37, 4, 1],
  [61, 61, 3, 1.63],
  [7, 5, 3, 1],
] as const)('markLeaksStrip, %i x %i, %i levels, unit %f', (width, height, count, unit) => {
  it('marks what a finer level shows beside a pixel and not in it', () => {
    const { states } = randomScene(width, height, count, 8, unit);
    for (const { after } of states)
      for (const [i, stored] of after.data.entries()) after.data[i] = stored & ~leakBit;
    const found = markLeaks(states, unit);
    let leaks = pictureOf(width, height, () => 0);
    let [marked, plain] = [0, 0];
    for (let level = 1; level < count; level++) {
      leaks = leaksOf(states[level - 1], leaks, states[level], unit);
      const expected = states[level].after.data.map((stored, i) => stored + leakBit * leaks.data[i]);
      expect(found[level].data, `level ${level}`).toEqual(expected);
      for (const leak of leaks.data) leak > 0 ? marked++ : plain++;
    }
    if (width > 10) expect(Math.min(marked, plain)).toBeGreaterThan(5);
  });
});

describe('markLeaksStrip', () => {
  const size = 96;
  /** A vertical line of detail, and what the windows of four levels make of it: a band three of their pixels to either side. */
  function hairStates(isDetail: (x: number, y: number) => boolean): State[] {
    return [0, 1, 2, 3].map((level) => {
      const side = size >> level;
      const reach = 3;
      const isSeen = (x: number, y: number) => {
        for (let v = y - reach; v <= y + reach; v++) {
          for (let u = x - reach; u <= x + reach; u++) {
            for (let j = 0; j < 1 << level; j++) {
              for (let i = 0; i < 1 << level; i++)
                if (isDetail((u << level) + i, (v << level) + j)) return true;
            }
          }
        }
        return false;
      };
      const seen = pictureOf(side, side, (x, y) => Number(level === 0 ? isDetail(x, y) : isSeen(x, y)));
      const where = (value: number) => pictureOf(side, side, (x, y) => at(seen, x, y) * value);
      const blank = where(0);
      return {
        ...randomState([side, side], 1),
        ...{ best: where(4000), before: where(storedIndex(5)), after: where(300) },
        ...{ second: blank, secondOrdinal: blank },
      };
    });
  }

  it('leaves of the band about a hair the pixels that hold it, at every level', () => {
    const states = hairStates((x) => x >= 47 && x < 49);
    const found = markLeaks(states, 1);
    for (let level = 1; level < 4; level++) {
      for (let x = 0; x < size >> level; x++) {
        const isSeen = at(states[level].best, x, 3) > 0;
        const isHair = x === 47 >> level || x === 48 >> level;
        expect(isLeak(at(found[level], x, 3)), `level ${level}, column ${x}`).toBe(isSeen && !isHair);
      }
    }
  });

  it('leaves the faint pixels within a textured surface', () => {
    // Two of three rows and columns, so that each pixel without detail has some on all sides.
    const states = hairStates((x, y) => x % 3 > 0 && y % 3 > 0);
    expect(markLeaks(states, 1).some(({ data }) => data.some(isLeak))).toBe(false);
  });

  it('leaves what the finer levels show nowhere around', () => {
    const states = hairStates((x) => x >= 47 && x < 49);
    for (const { best } of states.slice(0, 2)) best.data.fill(0);
    const [, , weights] = markLeaks(states, 1);
    expect(weights.data.some(isLeak)).toBe(false);
  });
});
