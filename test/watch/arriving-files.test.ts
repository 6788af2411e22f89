import {
  appendFileSync,
  mkdtempSync,
  renameSync,
  rmSync,
  statSync,
  utimesSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { beforeEach, expect, test } from 'vitest';
import { InputError } from '../../src/errors.js';
import { ArrivingFiles } from '../../src/watch/arriving-files.js';
import { removeAfter } from '../temporary-folders.js';

let folder: string;
let files: ArrivingFiles;
/** Time of the looks; files are as old as `write` makes them. */
let nowMs: number;

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'lamella-arriving-'));
  removeAfter('test', folder);
  files = new ArrivingFiles(folder);
  nowMs = Date.now();
});

/** Writes a file that was changed just now, by the time of the looks. */
function write(name: string, content: string): void {
  writeFileSync(join(folder, name), content);
  touch(name);
}

function touch(name: string): void {
  utimesSync(join(folder, name), nowMs / 1000, nowMs / 1000);
}

/** Looks again after a while. */
function look(afterMs = 0) {
  nowMs += afterMs;
  return files.look(nowMs);
}

async function take(name: string): Promise<void> {
  write(name, name);
  await look();
  expect((await look(300)).ready).toContain(name);
  files.note(name, 'taken');
}

test('a name whose content is still arriving is announced once, and is ready when it has rested', async () => {
  write('a.jpg', 'half');
  expect(await look()).toMatchObject({ arriving: ['a.jpg'], ready: [] });
  nowMs += 150;
  appendFileSync(join(folder, 'a.jpg'), ' and half');
  touch('a.jpg');
  expect(await look()).toMatchObject({ arriving: [], ready: [] });
  expect(await look(100)).toMatchObject({ ready: [] });
  expect(await look(200)).toMatchObject({ ready: ['a.jpg'] });
});

test('a file that was taken is not ready again, however often the folder is looked at', async () => {
  await take('a.jpg');
  for (let i = 0; i < 5; i++) expect((await look(1000)).ready).toEqual([]);
});

test('files that have lain there are ready at once, in the order of their numbers', async () => {
  for (const name of ['f10.jpg', 'f9.jpg', 'f1.jpg']) write(name, name);
  expect((await look(60_000)).ready).toEqual(['f1.jpg', 'f9.jpg', 'f10.jpg']);
});

test('a file waits for one before it that is still arriving, but not for ever', async () => {
  write('f1.jpg', 'a');
  write('f2.jpg', 'b');
  await look();
  const grow = () => {
    appendFileSync(join(folder, 'f1.jpg'), 'a');
    touch('f1.jpg');
  };
  nowMs += 300;
  grow();
  expect((await look()).ready).toEqual([]);
  for (let i = 0; i < 15; i++) {
    nowMs += 190;
    grow();
    await look();
  }
  expect(await look(100)).toMatchObject({ ready: ['f2.jpg'] });
});

test('a file that could not be read is tried again when it changes, and once before it is given up', async () => {
  write('a.jpg', 'cut');
  await look();
  expect((await look(300)).ready).toEqual(['a.jpg']);
  files.note('a.jpg', 'not whole');
  expect((await look(300)).ready).toEqual([]);
  expect(files.isGivenUp('a.jpg', nowMs)).toBe(false);
  nowMs += 100;
  appendFileSync(join(folder, 'a.jpg'), ' more');
  touch('a.jpg');
  await look();
  expect((await look(300)).ready).toEqual(['a.jpg']);
  files.note('a.jpg', 'not whole');
  expect((await look(5000)).ready).toEqual(['a.jpg']);
  expect(files.isGivenUp('a.jpg', nowMs)).toBe(true);
});

test('a renamed file is the same file, also where it takes the name of another', async () => {
  await take('a.jpg');
  await take('b.jpg');
  renameSync(join(folder, 'a.jpg'), join(folder, 'c.jpg'));
  expect(await look(300)).toMatchObject({ renamed: [{ from: 'a.jpg', to: 'c.jpg' }], gone: [], ready: [] });
  renameSync(join(folder, 'c.jpg'), join(folder, 'b.jpg'));
  expect(await look(300)).toMatchObject({
    renamed: [{ from: 'c.jpg', to: 'b.jpg' }],
    gone: ['b.jpg'],
    ready: [],
  });
  expect((await look(1000)).ready).toEqual([]);
});

test('files that change names with each other are both renamed, in a folder of many too', async () => {
  const names = Array.from({ length: 60 }, (_, k) => `f${k}.jpg`);
  for (const name of names) write(name, name);
  await look();
  await look(300);
  for (const name of names) files.note(name, 'taken');
  const at = (name: string) => join(folder, name);
  renameSync(at('f7.jpg'), at('.aside'));
  renameSync(at('f40.jpg'), at('f7.jpg'));
  renameSync(at('.aside'), at('f40.jpg'));
  const seen = [await look(250), await look(250), await look(250)];
  expect(
    seen.flatMap(({ renamed }) => renamed).sort((one, other) => (one.from < other.from ? -1 : 1)),
  ).toEqual([
    { from: 'f40.jpg', to: 'f7.jpg' },
    { from: 'f7.jpg', to: 'f40.jpg' },
  ]);
  expect(seen.flatMap(({ gone, replaced, ready }) => [...gone, ...replaced, ...ready])).toEqual([]);
});

test('a file waits for its verdict from when it was there, whatever time it was given', async () => {
  await look();
  const before = nowMs;
  nowMs += 1000;
  write('a.jpg', 'a');
  utimesSync(join(folder, 'a.jpg'), 1e9, 1e9);
  expect((await look()).ready).toEqual(['a.jpg']);
  expect(files.restedSince('a.jpg')).toBe(before);
});

test('deleted and exchanged files are told, and the exchanged one is ready when it is whole', async () => {
  await take('a.jpg');
  await take('b.jpg');
  rmSync(join(folder, 'a.jpg'));
  expect(await look()).toMatchObject({ gone: ['a.jpg'] });
  write('b.jpg', 'other content');
  expect(await look()).toMatchObject({ replaced: ['b.jpg'], ready: [] });
  expect(await look(300)).toMatchObject({ ready: ['b.jpg'] });
});

test('of many files each is looked at in turn, so that an exchange is noticed within a few looks', async () => {
  const names = Array.from({ length: 60 }, (_, k) => `f${k}.jpg`);
  for (const name of names) write(name, name);
  await look();
  await look(300);
  for (const name of names) files.note(name, 'taken');
  write('f33.jpg', 'other content');
  const replaced: string[] = [];
  for (let i = 0; i < 3; i++) replaced.push(...(await look(250)).replaced);
  expect(replaced).toEqual(['f33.jpg']);
});

test('empty, hidden and half-transferred files are not ready', async () => {
  for (const name of ['.a.jpg', 'b.jpg.part', 'c.jpg.tmp']) write(name, 'x');
  write('d.jpg', '');
  expect(await look(1000)).toMatchObject({ arriving: ['d.jpg'], ready: [] });
  // Empty for long: it is said what it is.
  expect((await look(9000)).ready).toEqual(['d.jpg']);
  renameSync(join(folder, 'b.jpg.part'), join(folder, 'b.jpg'));
  expect((await look(1000)).ready).toContain('b.jpg');
});

test('a folder that is away is refused with its name, and is there again when it is back', async () => {
  await take('a.jpg');
  renameSync(folder, `${folder}-away`);
  await expect(look()).rejects.toThrow(InputError);
  renameSync(`${folder}-away`, folder);
  expect(statSync(join(folder, 'a.jpg')).size).toBeGreaterThan(0);
  const nothing = { arriving: [], ready: [], gone: [], renamed: [], touched: [], replaced: [] };
  expect(await look()).toEqual(nothing);
});
