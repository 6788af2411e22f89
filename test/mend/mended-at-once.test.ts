import { type ChildProcessWithoutNullStreams, spawn } from 'node:child_process';
import { once } from 'node:events';
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import fc from 'fast-check';
import { afterEach, describe, expect, test } from 'vitest';
import { applyMends, editMends } from '../../src/mend/apply-mends.js';
import { joinMends } from '../../src/mend/join-mends.js';
import { appliedMends } from '../../src/mend/mended-record.js';
import { type Mend, readMends, writeMends } from '../../src/mend/mends-file.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { writeRunRecord } from '../../src/result/write-run-record.js';
import { Viewer } from '../../src/view/viewer.js';
import { makeResult, size } from './made-result.js';

const script = fileURLToPath(new URL('./fixtures/slow-mender.ts', import.meta.url));
const running: ChildProcessWithoutNullStreams[] = [];

afterEach(() => {
  for (const child of running.splice(0)) child.kill('SIGKILL');
});

/** Starts a process that mends at column `x`; `said` resolves with its output once that matches. */
function mender(folder: string, x: number) {
  const child = spawn(process.execPath, ['--import', 'tsx', script, folder, String(x)]);
  running.push(child);
  let text = '';
  child.stdout.on('data', (piece) => {
    text += piece;
  });
  const said = async (wanted: RegExp): Promise<string> => {
    while (!wanted.test(text)) await once(child.stdout, 'data');
    return text;
  };
  return { child, said, ended: once(child, 'exit') };
}

function mendAt(x: number, over: Partial<Mend> = {}): Mend {
  const region = { kind: 'rectangle', x, y: 50, width: 40, height: 30 } as const;
  return { id: 1, frame: 3, region, featherPx: 20, note: String(x), kept: true, ...over };
}

async function notesOf(folder: string): Promise<string[]> {
  return (await readMends(folder, size)).map(({ note }) => note);
}

describe('two processes that mend one result', () => {
  test('wait for each other, and neither loses its mend', async () => {
    const { folder, parent } = await makeResult();
    const first = mender(folder, 40);
    await first.said(/editing/);
    const second = mender(folder, 120);
    expect(await second.said(/waiting/)).toContain(`waiting for process ${first.child.pid} on `);
    first.child.stdin.write('go\n');
    expect(await first.ended).toEqual([0, null]);
    await second.said(/editing/);
    second.child.stdin.write('go\n');
    expect(await second.ended).toEqual([0, null]);

    expect(await notesOf(folder)).toEqual(['40', '120']);
    expect(appliedMends(await readRunRecord(folder)).map(({ note }) => note)).toEqual(['40', '120']);
    expect(readdirSync(parent).sort()).toEqual(['frames', 'merged']);
    const inOneGo = await makeResult();
    await applyMends(inOneGo.folder, [mendAt(40), mendAt(120, { id: 2 })]);
    const composite = (of: string) => readFileSync(join(of, 'composite.tif'));
    expect(composite(folder).equals(composite(inOneGo.folder))).toBe(true);
  }, 60_000);

  test('do not wait for one that was killed', async () => {
    const { folder, parent } = await makeResult();
    const first = mender(folder, 40);
    await first.said(/editing/);
    first.child.kill('SIGKILL');
    await first.ended;
    await applyMends(folder, [mendAt(120)]);
    expect(await notesOf(folder)).toEqual(['120']);
    expect(readdirSync(parent).sort()).toEqual(['frames', 'merged']);
  }, 60_000);
});

test('a page that is saved keeps what another process recorded after the page was opened', async () => {
  const { folder } = await makeResult();
  await applyMends(folder, [mendAt(10)]);
  const viewer = await Viewer.open(folder);
  try {
    const base = viewer.info().mends;
    await editMends(folder, async (recorded) => [...recorded, mendAt(60, { id: 2 })]);
    expect((await viewer.freshInfo()).mends.map(({ note }) => note)).toEqual(['10', '60']);
    const own = [{ ...mendAt(10), kept: false }, mendAt(110, { id: 2 })];
    const { mends, applied } = await viewer.save(own, base);
    expect(mends.map(({ id, note, kept }) => [id, note, kept])).toEqual([
      [1, '10', false],
      [2, '60', true],
      [3, '110', true],
    ]);
    expect(applied).toEqual([2, 3]);
    expect(await readMends(folder, size)).toEqual(mends);
  } finally {
    await viewer.close();
  }
});

test('a result that was changed by hand while it was mended stays as the hand left it', async () => {
  const { folder, parent } = await makeResult();
  const byHand = mendAt(60, { id: 5 });
  const mending = editMends(folder, async () => {
    await writeMends(folder, size, [byHand]);
    return [mendAt(10)];
  });
  await expect(mending).rejects.toThrow(/was changed by another program meanwhile.*run again/);
  expect(await readMends(folder, size)).toEqual([byHand]);
  expect(appliedMends(await readRunRecord(folder))).toEqual([]);
  expect(readdirSync(parent).sort()).toEqual(['frames', 'merged']);
});

test('a page over a result that was merged anew is not saved into it', async () => {
  const { folder } = await makeResult();
  const viewer = await Viewer.open(folder);
  try {
    const record = await readRunRecord(folder);
    await writeRunRecord(folder, { ...record, startedAt: '2031-01-01T00:00:00.000Z' });
    await expect(viewer.save([mendAt(10)], [])).rejects.toThrow(/was merged anew since it was opened/);
    expect(await readMends(folder, size)).toEqual([]);
  } finally {
    await viewer.close();
  }
});

describe('edits of one list, joined', () => {
  const listOf = (ids: fc.Arbitrary<number[]>) =>
    ids.chain((chosen) =>
      fc.tuple(...chosen.map((id) => fc.integer({ min: 0, max: 2 }).map((x) => mendAt(x, { id })))),
    );
  const mends = listOf(fc.uniqueArray(fc.integer({ min: 1, max: 5 }), { maxLength: 4 }));
  const bare = ({ id: _, ...mend }: Mend) => JSON.stringify(mend);

  test('lose nothing that either added or changed, and give every mend an id of its own', () => {
    fc.assert(
      fc.property(mends, mends, mends, (base, own, recorded) => {
        const joined = joinMends(base, own, recorded);
        expect(new Set(joined.map(({ id }) => id)).size).toBe(joined.length);
        const has = new Set(joined.map(bare));
        const isOld = (mend: Mend) =>
          base.some((old) => old.id === mend.id && JSON.stringify(old) === JSON.stringify(mend));
        for (const mend of [...own, ...recorded]) if (!isOld(mend)) expect(has).toContain(bare(mend));
        for (const mend of recorded) if (!isOld(mend)) expect(joined).toContainEqual(mend);
      }),
    );
  });

  test('are the edit of the only one who made one', () => {
    fc.assert(
      fc.property(mends, mends, (base, edited) => {
        expect(new Set(joinMends(base, edited, base).map(bare))).toEqual(new Set(edited.map(bare)));
        expect(joinMends(base, base, edited)).toEqual(edited);
      }),
    );
  });
});
