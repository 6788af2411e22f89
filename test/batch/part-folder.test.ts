import { join } from 'node:path';
import fc from 'fast-check';
import sharp from 'sharp';
import { beforeAll, describe, expect, it } from 'vitest';
import { findStacks } from '../../src/batch/find-stacks.js';
import { findPause, groupsAt } from '../../src/batch/time-gaps.js';
import { jpeg, makeFolder } from '../stack/pictures.js';
import { placeFrames, renderTiny } from './tiny-stacks.js';

const plain = await jpeg();
const excludeNone = { exclude: [], maxPixels: 1e8 };

/** Files taken at the given seconds after noon. */
async function takenAt(seconds: readonly number[]): Promise<string> {
  const files = seconds.map(async (second, i) => {
    const time = new Date(Date.UTC(2026, 10, 25, 12, 0, second)).toISOString();
    const taken = time.slice(0, 19).replace('T', ' ').replace(/-/g, ':');
    return [`IMG_${String(i + 1).padStart(4, '0')}.jpg`, await jpeg({ taken })] as const;
  });
  return makeFolder(Object.fromEntries(await Promise.all(files)));
}

describe('the pause between stacks', () => {
  it('is found in the times of any session whose pauses are clearly longer than its intervals', () => {
    const session = fc.record({
      intervalMs: fc.integer({ min: 300, max: 20_000 }),
      stacks: fc.array(fc.integer({ min: 3, max: 30 }), { minLength: 2, maxLength: 8 }),
      jitter: fc.array(fc.double({ min: 0, max: 0.5, noNaN: true }), { minLength: 300, maxLength: 300 }),
      pauses: fc.array(fc.double({ min: 6, max: 50, noNaN: true }), { minLength: 8, maxLength: 8 }),
    });
    fc.assert(
      fc.property(session, ({ intervalMs, stacks, jitter, pauses }) => {
        const step = Math.max(1000, intervalMs);
        const gaps = stacks.flatMap((frames, s) => [
          ...(s > 0 ? [step * pauses[s]] : []),
          ...Array.from({ length: frames - 1 }, (_, i) => intervalMs * (1 + jitter[(s * 30 + i) % 300])),
        ]);
        const bound = findPause(gaps, 3)!;
        const sizes = groupsAt(gaps, bound).map(([first, last]) => last - first + 1);
        // Pauses may differ so much that only the longest stand out; but no stack is ever cut.
        const ends = stacks.map((_, s) => stacks.slice(0, s + 1).reduce((sum, size) => sum + size, 0));
        let at = 0;
        for (const size of sizes) {
          at += size;
          expect(ends).toContain(at);
        }
      }),
    );
  });

  it('is none where frames follow evenly', () => {
    expect(findPause([2000, 2100, 1900, 2000, 3500], 3)).toBeUndefined();
    expect(findPause([0, 0, 1000, 0, 1000], 3)).toBeUndefined();
    expect(findPause([], 3)).toBeUndefined();
  });
});

describe('a folder of many stacks', () => {
  it('is parted at its pauses, found or given, and names the parts by their first frames', async () => {
    const folder = await takenAt([0, 2, 4, 6, 100, 102, 104, 200, 202, 204, 207, 400]);
    const { stacks, partings } = await findStacks(folder, {
      ...excludeNone,
      split: { by: 'auto', minFrames: 3 },
    });
    expect(stacks.map(({ key, part, frames }) => [key, part, frames])).toEqual([
      ['.@IMG_0001', [1, 4], 4],
      ['.@IMG_0005', [5, 7], 3],
      ['.@IMG_0008', [8, 11], 4],
    ]);
    expect(partings[0]).toMatch(
      /: 3 stacks, parted at pauses of more than \d+ s, found from the data: within stacks frames follow within 3 s, pauses between them last 94 s or more; 1 frame left over in groups of fewer than 3: IMG_0012\.jpg\.$/,
    );
    const given = await findStacks(folder, {
      ...excludeNone,
      split: { by: 'auto', gapS: 150, minFrames: 3 },
    });
    expect(given.stacks.map(({ part }) => part)).toEqual([[1, 11]]);
    const fine = await findStacks(folder, { ...excludeNone, split: { by: 'time', gapS: 2.5, minFrames: 3 } });
    expect(fine.stacks.map(({ part }) => part)).toEqual([
      [1, 4],
      [5, 7],
      [8, 10],
    ]);
  });

  it('without times says so where it should be parted by time', async () => {
    const folder = makeFolder(Object.fromEntries(['a', 'b', 'c', 'd'].map((name) => [`${name}.jpg`, plain])));
    const { stacks, partings } = await findStacks(folder, {
      ...excludeNone,
      split: { by: 'time', minFrames: 3 },
    });
    expect(stacks).toEqual([]);
    expect(partings[0]).toContain('not every frame has a capture time');
  });

  let frames: Record<string, Buffer>;
  beforeAll(async () => {
    frames = await renderTiny();
  });

  it('is parted where the picture jumps, when there are no times', async () => {
    const folder = placeFrames(join(makeFolder(), 'card'), frames, 1, 4);
    // Another subject, in the light of the first.
    const files = Object.entries(frames).slice(0, 4);
    for (const [name, file] of files) {
      await sharp(file)
        .rotate(180)
        .flop()
        .modulate({ brightness: 0.9 })
        .toFile(join(folder, `second-${name}`));
    }
    const { stacks, partings } = await findStacks(folder, {
      ...excludeNone,
      split: { by: 'auto', minFrames: 3 },
    });
    expect(stacks.map(({ part }) => part)).toEqual([
      [1, 4],
      [5, 8],
    ]);
    expect(partings[0]).toContain('parted where the picture jumps');
  });

  it('of one stack alone stays one', async () => {
    const folder = placeFrames(join(makeFolder(), 'card'), frames, 1, 5);
    const { stacks } = await findStacks(folder, { ...excludeNone, split: { by: 'picture', minFrames: 3 } });
    expect(stacks.map(({ part }) => part)).toEqual([[1, 5]]);
  });
});
