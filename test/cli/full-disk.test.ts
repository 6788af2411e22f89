import { spawnSync } from 'node:child_process';
import { cpSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { type MadeResult, makeLastingResult } from '../mend/made-result.js';
import { makeFolder } from '../stack/pictures.js';
import { runLamella } from './fake-system.js';

const disk = makeFolder();
const mount = (...args: string[]) => spawnSync('mount', [...args, disk]).status === 0;
const canMount =
  process.platform === 'linux' &&
  process.getuid?.() === 0 &&
  mount('-t', 'tmpfs', '-o', 'size=16k', 'lamella-test');

let made: MadeResult & { remove: () => void };

beforeAll(async () => {
  made = await makeLastingResult();
});
afterAll(() => {
  made.remove();
  if (canMount) spawnSync('umount', [disk]);
});

const scale = ['--field-width', '1', '--step', '0.01'];

describe.skipIf(!canMount)('a disk that is full', () => {
  it.each([
    ['relief.glb', 'relief', '--out'],
    ['relief.ply', 'relief', '--out'],
    ['relief.stl', 'relief', '--out'],
    ['relief.obj', 'relief', '--out'],
    ['pair.png', 'relief', '--stereo', 'parallel', '--out'],
    ['pair.jpg', 'relief', '--stereo', 'anaglyph-grey', '--out'],
    ['rocking.webp', 'relief', '--loop', 'rocking', '--out'],
    ['rocking', 'relief', '--loop', 'rocking', '--out'],
    ['travel.webp', 'relief', '--loop', 'travel', '--out'],
    ['bar.png', 'measure', ...scale, '--scale-bar'],
    ['bar.jpg', 'measure', ...scale, '--scale-bar'],
    ['curve.csv', 'measure', '--profile', '5,5 200,160', '--curve'],
    ['curve.svg', 'measure', '--profile', '5,5 200,160', '--curve'],
    ['table.csv', 'measure', '--table'],
    ['table.json', 'measure', '--table'],
    ['aligned', 'export', '--aligned', '--out'],
    ['layers', 'export', '--layers', '--out'],
    ['masks', 'export', '--masks', '--min-share', '0', '--out'],
    ['depth', 'export', '--depth', '--out'],
    ['runs', 'export', '--runs', '3,1', '--out'],
  ])('is named under %s, and nothing is left of the file', async (name, command, ...options) => {
    const path = join(disk, name);
    // So little is left that the smallest of them finds no room either.
    const ballast = join(disk, 'ballast');
    writeFileSync(ballast, Buffer.alloc(/^(table|curve|masks)/.test(name) ? 16_384 : 1));
    const { exitCode, stderr } = await runLamella(command, made.folder, ...options, path);
    expect(stderr).toMatch(
      /^lamella: Cannot write .*: the disk is full\. Free some space or choose another place with --/m,
    );
    expect(stderr).toContain(`Cannot write ${path}`);
    expect(exitCode).toBe(4);
    expect(readdirSync(disk)).toEqual(['ballast']);
    rmSync(ballast);
  });

  it('leaves a result as it was that measures are to be kept with', async () => {
    expect(mount('-o', 'remount,size=2m')).toBe(true);
    const folder = join(disk, 'merged');
    cpSync(made.folder, folder, { recursive: true });
    const files = () =>
      readdirSync(folder).map((name) => [name, readFileSync(join(folder, name)).toString('base64')]);
    const before = files();
    const fill = () => spawnSync('sh', ['-c', `cat /dev/zero > ${join(disk, 'ballast')} 2>/dev/null`]);
    fill();
    const { exitCode, stderr } = await runLamella('measure', folder, '--distance', '5,5 200,160');
    expect([exitCode, stderr]).toEqual([4, expect.stringMatching(/the disk is full\. Free some space\.\n$/)]);
    expect(files()).toEqual(before);
    expect(readdirSync(disk).sort()).toEqual(['ballast', 'merged']);
    // Where nothing has to be measured anew, a table of it can be had elsewhere.
    const table = join(makeFolder(), 'table.csv');
    expect((await runLamella('measure', folder, '--table', table)).exitCode).toBe(0);
  });
});
