import { spawnSync } from 'node:child_process';
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { makeFolder } from '../stack/pictures.js';
import { batchHere, startStandIn } from './in-process.js';
import { namesIn, placeFrames, renderTiny, resultBytes } from './tiny-stacks.js';

const disk = makeFolder();
const canMount =
  process.platform === 'linux' &&
  process.getuid?.() === 0 &&
  spawnSync('mount', ['-t', 'tmpfs', '-o', 'size=600k', 'lamella-test', disk]).status === 0;

let root: string;
const names = ['ant', 'bee', 'gnat', 'wasp'];

beforeAll(async () => {
  root = join(makeFolder(), 'week');
  const frames = await renderTiny();
  for (const name of names) placeFrames(join(root, name), frames);
});

afterAll(() => {
  if (canMount) spawnSync('umount', [disk]);
});

function resize(megabytes: number): void {
  expect(spawnSync('mount', ['-o', `remount,size=${megabytes}m`, disk]).status).toBe(0);
}

describe('a disk that fills up', () => {
  it.skipIf(!canMount)(
    'stops the batch in a clear state, from which it goes on when there is room',
    async () => {
      const out = join(disk, 'out');
      const full = await batchHere(root, { out });
      expect(full.state).toBe('no disk');
      expect(full.done).toBeGreaterThan(0);
      expect(full.putOff).toBe(names.length - full.done);
      expect(full.reasonOf('put-off', 'wasp')).toMatch(/may take \d+ kB, and the disk of .* has \d+ kB free/);
      expect(namesIn(out).filter((name) => name.startsWith('.'))).toEqual([]);
      resize(8);
      const rest = await batchHere(root, { out });
      expect([rest.state, rest.done, rest.finished]).toEqual(['done', full.putOff, full.done]);
    },
  );

  it.skipIf(!canMount)(
    'in the middle of a stack, unforeseen, costs that stack and never half a result',
    async () => {
      resize(1);
      spawnSync('rm', ['-rf', join(disk, 'out')]);
      const out = join(disk, 'out');
      mkdirSync(out, { recursive: true });
      // What is left is less than a result but enough for the list.
      writeFileSync(join(disk, 'ballast'), Buffer.alloc(960_000));
      const told = await batchHere(root, { out }, { freeBytes: async () => 1e9 });
      expect([told.done, told.failed]).toEqual([0, names.length]);
      expect(told.reasonOf('failed', 'ant')).toMatch(/disk is full|disk of .* has/);
      expect(namesIn(out).filter((name) => names.includes(name) || name.startsWith('.'))).toEqual([]);
      resize(8);
      const again = await batchHere(root, { out });
      expect([again.done, again.failed]).toEqual([names.length, 0]);
      expect(Object.keys(resultBytes(out))).toHaveLength(names.length * 8);
    },
  );

  it.skipIf(!canMount)(
    'so far that the list cannot be written ends the batch with an error that says so',
    async () => {
      resize(8);
      const out = join(disk, 'list');
      mkdirSync(out, { recursive: true });
      writeFileSync(join(out, 'night-list.jsonl'), '');
      writeFileSync(join(disk, 'ballast-2'), Buffer.alloc(1));
      spawnSync('dd', ['if=/dev/zero', `of=${join(disk, 'ballast-2')}`, 'bs=4k']);
      await expect(batchHere(root, { out })).rejects.toThrow(/the disk is full/);
      spawnSync('rm', [join(disk, 'ballast-2')]);
      const again = await batchHere(root, { out });
      expect([again.done, again.failed]).toEqual([names.length, 0]);
    },
  );

  it('is noticed before each stack by what its result may take', async () => {
    const out = join(makeFolder(), 'out');
    let done = 0;
    const told = await batchHere(
      root,
      { out },
      {
        onEvent: (event) => {
          if (event.event === 'done') done++;
        },
        startStack: startStandIn,
        freeBytes: async () => (done < 2 ? 1e9 : 400_000),
      },
    );
    expect([told.state, told.done, told.putOff]).toEqual(['no disk', 2, names.length - 2]);
    expect((await batchHere(root, { out }, { startStack: startStandIn })).done).toBe(names.length - 2);
  });
});
