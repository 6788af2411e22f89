import {
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  truncateSync,
  utimesSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { applyMends } from '../../src/mend/apply-mends.js';
import { type Mend, readMends } from '../../src/mend/mends-file.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { runLamella } from '../cli/fake-system.js';
import { makeResult, size } from './made-result.js';

const region = { kind: 'rectangle', x: 60, y: 50, width: 40, height: 30 } as const;
const mend: Mend = { id: 1, frame: 3, region, featherPx: 20, note: '', kept: true };

function contents(folder: string): Record<string, string> {
  const found: Record<string, string> = {};
  for (const name of readdirSync(folder, { recursive: true, encoding: 'utf8' }).sort()) {
    const path = join(folder, name);
    if (statSync(path).isFile()) found[name] = readFileSync(path, 'latin1');
  }
  return found;
}

const files = [
  'composite.tif',
  'depth.tif',
  'depth.png',
  'sources.png',
  'confidence.png',
  'coverage.png',
  'run.json',
  'report.html',
];

/** Another byte in the middle, and the same size and time: only the hash tells. */
function flipByte(path: string): void {
  const { atime, mtime } = statSync(path);
  const bytes = readFileSync(path);
  bytes[bytes.length >> 1] ^= 1;
  // Under a new inode: the file may have a second name.
  writeFileSync(`${path}.new`, bytes);
  renameSync(`${path}.new`, path);
  utimesSync(path, atime, mtime);
}

const damages: [string, (path: string) => void][] = [
  ['missing', (path) => rmSync(path)],
  ['cut short', (path) => truncateSync(path, statSync(path).size >> 1)],
  ['changed in one byte', flipByte],
];

describe('undoing mends, when a file of the merge is', () => {
  test.each(damages)(
    '%s, changes nothing and ends with exit code 3',
    async (_, damage) => {
      for (const file of files) {
        const { folder, parent } = await makeResult();
        await applyMends(folder, [mend]);
        const path = join(folder, 'unmended', file);
        damage(path);
        const before = contents(parent);
        for (const args of [['--undo'], ['--drop', '1'], ['--add', 'frame=1', '--region', '9,50,40,30']]) {
          const { exitCode, stderr } = await runLamella('mend', folder, ...args);
          expect([file, args[0], exitCode]).toEqual([file, args[0], 3]);
          expect(stderr).toContain(path);
          expect(stderr).not.toContain('are back');
        }
        expect(contents(parent)).toEqual(before);
      }
    },
    120_000,
  );

  test('gone with all the others, changes nothing either', async () => {
    const { folder } = await makeResult();
    await applyMends(folder, [mend]);
    rmSync(join(folder, 'unmended'), { recursive: true });
    const before = contents(folder);
    const { exitCode, stderr } = await runLamella('mend', folder, '--undo');
    expect([exitCode, stderr]).toEqual([3, expect.stringContaining('unmended')]);
    // A further mend would take the mended picture for that of the merge.
    expect((await runLamella('mend', folder)).exitCode).toBe(3);
    expect(contents(folder)).toEqual(before);
  });
});

test('of a result mended by an earlier program, which recorded no hashes, files are read to their end', async () => {
  const forget = (folder: string) => {
    const path = join(folder, 'run.json');
    const record = JSON.parse(readFileSync(path, 'utf8'));
    delete record.mends.unmended;
    writeFileSync(path, JSON.stringify(record));
  };
  for (const file of ['composite.tif', 'depth.tif', 'sources.png']) {
    for (const [, damage] of damages.slice(0, 2)) {
      const { folder } = await makeResult();
      await applyMends(folder, [mend]);
      forget(folder);
      damage(join(folder, 'unmended', file));
      const before = contents(folder);
      const { exitCode, stderr } = await runLamella('mend', folder, '--undo');
      expect([exitCode, stderr]).toEqual([3, expect.stringContaining(join('unmended', file))]);
      expect(contents(folder)).toEqual(before);
    }
  }
  const { folder: short } = await makeResult();
  await applyMends(short, [mend]);
  forget(short);
  const map = join(short, 'unmended', 'sources.png');
  truncateSync(map, statSync(map).size - 1);
  expect((await runLamella('mend', short, '--undo')).stderr).toContain('the end of the file is gone');
  const { folder } = await makeResult();
  const before = contents(folder);
  await applyMends(folder, [mend]);
  forget(folder);
  expect((await runLamella('mend', folder, '--undo')).exitCode).toBe(0);
  const { 'mends.json': _, ...back } = contents(folder);
  expect(back).toEqual(before);
});

test('size and hash of what is put aside are in run.json, and stay the same over further mends', async () => {
  const { folder } = await makeResult();
  await applyMends(folder, [mend]);
  const first = JSON.parse(readFileSync(join(folder, 'run.json'), 'utf8')).mends.unmended;
  expect(first.map(({ file }: { file: string }) => file).sort()).toEqual([...files].sort());
  await applyMends(folder, [mend, { ...mend, id: 2, frame: 1 }]);
  const record = await readRunRecord(folder);
  expect(record).toMatchObject({ mends: { unmended: first } });
  expect(await readMends(folder, size)).toHaveLength(2);
});

test.each(['depth.png', 'composite.tif'])(
  'a result whose %s lost its end is not mended, and stays as it is',
  async (file) => {
    const { folder } = await makeResult();
    const path = join(folder, file);
    truncateSync(path, statSync(path).size - 8);
    const before = contents(folder);
    await expect(applyMends(folder, [mend])).rejects.toThrow(
      `${path} is not as the merge made it: the end of the file is gone.`,
    );
    expect(contents(folder)).toEqual(before);
  },
);
