import { mkdirSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { findStacks } from '../../src/batch/find-stacks.js';
import { resultName, stackKey } from '../../src/batch/result-name.js';
import { SettledStacks } from '../../src/batch/settled-stacks.js';
import { runSchemaName } from '../../src/result/run-record.js';
import { jpeg, makeFolder } from '../stack/pictures.js';
import { buildDng, mosaicOf } from '../stack/raw/dng.js';

const plain = await jpeg();

function place(folder: string, count: number, ending = 'jpg', content: Buffer | string = plain): void {
  mkdirSync(folder, { recursive: true });
  for (let i = 1; i <= count; i++) writeFileSync(join(folder, `f${i}.${ending}`), content);
}

async function keysBelow(root: string, exclude: string[] = []): Promise<string[]> {
  return (await findStacks(root, { exclude, maxPixels: 1e8 })).stacks.map(({ key }) => key);
}

describe('the stacks below a folder', () => {
  it('are the folders with at least three frames, itself included, in natural order', async () => {
    const root = makeFolder();
    place(root, 3);
    for (const name of ['day 10/bee', 'day 9/bee', 'day 9']) place(join(root, name), 3);
    place(join(root, 'two'), 2);
    place(join(root, 'words'), 5, 'txt', 'no picture');
    expect(await keysBelow(root)).toEqual(['.', 'day 9', 'day 9/bee', 'day 10/bee']);
  });

  it('are found of raw files too; of raw and JPEG of one name each exposure counts once', async () => {
    const root = makeFolder();
    const light = new Float32Array(32 * 24 * 3).fill(0.3);
    const dng = buildDng({ width: 32, height: 24, mosaic: mosaicOf(light, 32, 24) });
    place(join(root, 'both'), 3, 'dng', dng);
    place(join(root, 'both'), 3);
    place(join(root, 'raw'), 4, 'dng', dng);
    place(join(root, 'two'), 2, 'dng', dng);
    place(join(root, 'two'), 2);
    const { stacks, passed } = await findStacks(root, { exclude: [], maxPixels: 1e8 });
    expect(stacks.map(({ key, frames, files, bits }) => [key, frames, files.length, bits])).toEqual([
      ['both', 3, 6, 16],
      ['raw', 4, 4, 16],
    ]);
    expect(passed.map(({ reason }) => reason)).toEqual([
      'it holds 2 photographs, and a stack has at least 3',
    ]);
  });

  it('leave out hidden folders, results, exports, other batches, and the place of the results', async () => {
    const root = makeFolder();
    for (const name of ['.hidden', 'result', 'export/aligned', 'batch/bee', 'out/bee', 'bee'])
      place(join(root, name), 3);
    writeFileSync(join(root, 'result', 'run.json'), JSON.stringify({ schema: runSchemaName }));
    writeFileSync(join(root, 'export', 'export.json'), JSON.stringify({ schema: 'lamella-export' }));
    writeFileSync(join(root, 'batch', 'night-list.jsonl'), '');
    expect(await keysBelow(root, [join(root, 'out')])).toEqual(['bee']);
  });

  // Names of macOS and Windows are text by nature.
  it.skipIf(process.platform !== 'linux')(
    'name a folder whose name is not UTF-8, as unreadable',
    async () => {
      const root = makeFolder();
      place(join(root, 'bee'), 3);
      const named = (name: string) => Buffer.concat([Buffer.from(join(root, name)), Buffer.from([0xfe])]);
      mkdirSync(named('ant'));
      writeFileSync(named('notes'), 'no folder, and of no concern');
      const { stacks, passed } = await findStacks(root, { exclude: [], maxPixels: 1e8 });
      expect(stacks.map(({ key }) => key)).toEqual(['bee']);
      const reason = 'it cannot be read: its name is not UTF-8 text: rename it';
      expect(passed).toEqual([{ folder: join(root, 'ant\ufffd'), reason, unreadable: true }]);
    },
  );

  it('leave out results whose run.json is damaged or gone, and name them', async () => {
    const root = makeFolder();
    for (const name of ['bee', 'cut', 'gone']) place(join(root, name), 3);
    writeFileSync(join(root, 'cut', 'run.json'), `{ "schema": "${runSchemaName}", "frames": [`);
    for (const map of ['depth.tif', 'sources.png', 'confidence.png', 'coverage.png'])
      writeFileSync(join(root, 'gone', map), plain);
    place(join(root, 'gone', 'unmended'), 3);
    const { stacks, passed } = await findStacks(root, { exclude: [], maxPixels: 1e8 });
    expect(stacks.map(({ key }) => key)).toEqual(['bee']);
    const reason = 'it is the result of a merge, whose run.json is damaged or gone';
    expect(passed).toEqual(
      ['cut', 'gone'].map((name) => ({ folder: join(root, name), reason, unreadable: false })),
    );
  });

  it('count damaged photographs as frames, so that a stack of them is explained and not passed over', async () => {
    const root = makeFolder();
    place(join(root, 'bee'), 2);
    writeFileSync(join(root, 'bee', 'f3.jpg'), '');
    place(join(root, 'lost'), 3, 'tif', 'damaged');
    const { stacks } = await findStacks(root, { exclude: [], maxPixels: 1e8 });
    expect(stacks.map(({ key, frames, files }) => [key, frames, files.length])).toEqual([
      ['bee', 2, 3],
      ['lost', 0, 3],
    ]);
  });

  it('tell of folders that are nearly stacks', async () => {
    const root = makeFolder();
    place(join(root, 'two'), 2);
    const { passed } = await findStacks(root, { exclude: [], maxPixels: 1e8 });
    expect(passed.map(({ reason }) => reason)).toEqual([
      'it holds 2 photographs, and a stack has at least 3',
    ]);
  });

  it('are found once, also behind links that lead round in a ring', async () => {
    const root = makeFolder();
    place(join(root, 'bee'), 3);
    symlinkSync(root, join(root, 'bee', 'up'));
    symlinkSync(join(root, 'bee'), join(root, 'again'));
    expect(await keysBelow(root)).toHaveLength(1);
  });

  it('are not searched for behind links that lead out of the root, unless that is asked for', async () => {
    const [root, outside] = [makeFolder(), makeFolder()];
    place(join(outside, 'wasp'), 3);
    place(join(root, 'bee'), 3);
    symlinkSync(outside, join(root, 'all'));
    symlinkSync('/', join(root, 'disk'));
    const look = { exclude: [], maxPixels: 1e8 };
    const { stacks, passed } = await findStacks(root, look);
    expect(stacks.map(({ key }) => key)).toEqual(['bee']);
    expect(passed.map(({ folder, unreadable }) => [folder, unreadable])).toEqual([
      [join(root, 'all'), false],
      [join(root, 'disk'), false],
    ]);
    expect(passed[0].reason).toContain(`it is a link that leads out of ${root}, to ${outside}`);

    rmSync(join(root, 'disk'));
    const all = await findStacks(root, { ...look, followLinks: true });
    expect(all.stacks.map(({ key }) => key)).toEqual(['all/wasp', 'bee']);
  });

  it('behind a root that is a link itself are those of its folder', async () => {
    const [root, elsewhere] = [makeFolder(), makeFolder()];
    place(join(root, 'bee'), 3);
    symlinkSync(join(root, 'bee'), join(root, 'again'));
    symlinkSync(root, join(elsewhere, 'link'));
    const { stacks, passed } = await findStacks(join(elsewhere, 'link'), { exclude: [], maxPixels: 1e8 });
    expect([stacks.length, passed]).toEqual([1, []]);
  });

  it.each(['linked.jpg', 'notes.txt'])(
    'that hold a link out of the root (%s) are told, and not merged',
    async (name) => {
      const [root, outside] = [makeFolder(), makeFolder()];
      place(join(root, 'bee'), 4);
      place(join(root, 'words'), 2, 'txt', 'no picture');
      place(outside, 1);
      // A merge goes by the content of a file, whatever its name.
      for (const folder of ['bee', 'words']) symlinkSync(join(outside, 'f1.jpg'), join(root, folder, name));
      const { stacks, passed } = await findStacks(root, { exclude: [], maxPixels: 1e8 });
      expect(stacks).toEqual([]);
      expect(passed).toEqual([
        {
          folder: join(root, 'bee'),
          reason: `it holds links to files outside of ${root}: ${name}. Add followLinks to follow them, or remove them`,
          unreadable: true,
        },
      ]);
      const asked = await findStacks(root, { exclude: [], maxPixels: 1e8, followLinks: true });
      expect(asked.stacks.map(({ frames }) => frames)).toEqual([5]);
    },
  );

  it.each([
    ['missing', 'it does not exist'],
    ['file', 'it is a file'],
  ])('of what is no folder (%s) is an input error', async (name, reason) => {
    const root = makeFolder({ file: '' });
    await expect(keysBelow(join(root, name))).rejects.toThrow(`cannot be searched for stacks: ${reason}.`);
  });
});

describe('names of results', () => {
  it('are plain where folders are', () => {
    expect(resultName('bee', 'week')).toBe('bee');
    expect(resultName('monday/bee head', 'week')).toBe('monday--bee head');
    expect(resultName('.', 'week')).toBe('week');
    expect(resultName('card@IMG_0001', 'week')).toBe('card@IMG_0001');
    expect(resultName('index.html', 'week')).not.toBe('index.html');
  });

  it('differ for different stacks, are one folder each, never hidden and never long', () => {
    const part = fc.string({
      unit: fc.constantFrom('a', 'b', '-', '@', '.', 'week', 'é'),
      minLength: 1,
      maxLength: 8,
    });
    const key = fc.oneof(
      fc.constant('.'),
      fc
        .tuple(fc.array(part, { minLength: 1, maxLength: 3 }), fc.option(part, { nil: undefined }))
        .map(([parts, first]) => stackKey(parts.join('/'), first)),
    );
    fc.assert(
      fc.property(key, key, (one, other) => {
        const [first, second] = [resultName(one, 'week'), resultName(other, 'week')];
        expect(first === second).toBe(one === other);
        expect(first).not.toMatch(/^\.|\//);
      }),
      { numRuns: 500 },
    );
    expect(Buffer.byteLength(resultName('ü'.repeat(400), 'week'))).toBeLessThan(180);
  });
});

describe('watched stacks', () => {
  it('have settled when nothing about their files changed for the time that was asked for', async () => {
    const root = makeFolder();
    place(join(root, 'bee'), 3);
    place(join(root, 'ant'), 3);
    const look = async () => (await findStacks(root, { exclude: [], maxPixels: 1e8 })).stacks;
    const settled = new SettledStacks(1000);
    const keysAt = async (nowMs: number) => settled.update(await look(), nowMs).map(({ key }) => key);
    expect(await keysAt(0)).toEqual([]);
    expect(await keysAt(999)).toEqual([]);
    place(join(root, 'bee'), 4);
    expect(await keysAt(1500)).toEqual(['ant']);
    expect(await keysAt(2499)).toEqual(['ant']);
    expect(await keysAt(2500)).toEqual(['ant', 'bee']);
  });
});
