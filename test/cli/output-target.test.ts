import {
  cpSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { runCli } from '../../src/cli/run.js';
import { writeContactSheet } from '../../src/trace/contact-sheet.js';
import { traceRegion } from '../../src/trace/trace.js';
import { makeResult } from '../mend/made-result.js';
import { fakeSystem } from './fake-system.js';

let parent: string;
beforeEach(() => {
  parent = mkdtempSync(join(tmpdir(), 'lamella-target-'));
});
afterEach(() => rmSync(parent, { recursive: true, force: true }));

async function lamella(...args: string[]) {
  const system = fakeSystem();
  const exitCode = await runCli(args, '1.2.3', system);
  return { exitCode, stdout: system.stdout.text, stderr: system.stderr.text };
}

/** The bytes of every file below a folder by path. */
function contents(folder: string): Record<string, string> {
  const found: Record<string, string> = {};
  for (const name of readdirSync(folder, { recursive: true, encoding: 'utf8' }).sort()) {
    const path = join(folder, name);
    if (statSync(path).isFile()) found[name] = readFileSync(path, 'latin1');
  }
  return found;
}

const plan = ['plan', '--magnification', '1', '--f-number', '8', '--sensor', 'aps-c', '--pixels', '24MP'];

describe('a file that a command writes never takes the place of', () => {
  test('a photograph or a part of a result, with or without --overwrite, by whatever path', async () => {
    const made = await makeResult();
    const { folder, frames } = made;
    mkdirSync(join(folder, 'notes'));
    mkdirSync(join(frames, 'notes'));
    symlinkSync(frames, join(made.parent, 'stack-link'));
    symlinkSync(folder, join(made.parent, 'result-link'));
    const before = contents(made.parent);
    const crops = [
      [join(frames, 'f1.png'), 'folder of photographs'],
      [join(frames, 'new.png'), 'folder of photographs'],
      [join(frames, 'notes', 'new.png'), 'folder of photographs'],
      [join(made.parent, 'stack-link', 'f2.png'), 'folder of photographs'],
      [join(folder, 'sources.png'), 'result folder'],
      [join(folder, 'new.png'), 'result folder'],
      [join(folder, 'notes', 'new.png'), 'result folder'],
      [join(made.parent, 'result-link', 'confidence.png'), 'result folder'],
    ];
    for (const [path, words] of crops) {
      for (const more of [[], ['--overwrite']]) {
        const refused = await lamella('trace', folder, '41,31', '--crops', path, ...more);
        expect([path, refused.exitCode]).toEqual([path, 4]);
        expect(refused.stderr).toContain(`${path} lies in the ${words}`);
        expect(refused.stderr).toContain('--crops');
      }
    }
    const pages = [
      [join(folder, 'report.html'), 'result folder'],
      [join(folder, 'new.html'), 'result folder'],
      [join(frames, 'check.html'), 'folder of photographs'],
    ];
    for (const [path, words] of pages) {
      const refused = await lamella('check', frames, '--page', path, '--overwrite');
      expect([refused.exitCode, refused.stderr]).toEqual([4, expect.stringContaining(words)]);
    }
    const sheet = await lamella(
      ...plan,
      '--depth',
      '5',
      '--sheet',
      join(folder, 'report.html'),
      '--overwrite',
    );
    expect([sheet.exitCode, sheet.stderr]).toEqual([4, expect.stringContaining('result folder')]);
    expect(contents(made.parent)).toEqual(before);
  });

  test('what a folder of photographs holds that the command does not read', async () => {
    const { folder, frames } = await makeResult();
    const other = join(parent, 'other-stack');
    cpSync(frames, other, { recursive: true });
    symlinkSync(other, join(parent, 'other-link'));
    const raws = join(parent, 'raws');
    mkdirSync(raws);
    for (const number of [1, 2, 3]) writeFileSync(join(raws, `DSC_${number}.NEF`), 'II*\0');
    const before = contents(parent);
    for (const place of ['other-stack', 'other-link', 'raws'].map((name) => join(parent, name))) {
      for (const command of [
        ['trace', folder, '41,31', '--crops', join(place, 'new.png')],
        [...plan, '--depth', '5', '--sheet', join(place, 'p.csv')],
        [...plan, '--depth', '5', '--sheet', join(place, 'p.html'), '--overwrite'],
        ['check', frames, '--page', join(place, 'page.html')],
      ]) {
        const refused = await lamella(...command);
        expect([refused.exitCode, refused.stderr]).toEqual([
          4,
          expect.stringContaining(
            `lies in the folder of photographs ${place}, into which nothing is written`,
          ),
        ]);
      }
    }
    expect(contents(parent)).toEqual(before);
  });

  test('a result whose run.json is gone, or the photographs that were moved', async () => {
    const { folder, frames, parent: around } = await makeResult();
    const moved = join(around, 'moved');
    cpSync(frames, moved, { recursive: true });
    const crops = ['--crops', join(moved, 'f1.png'), '--overwrite', '--frames-from', moved];
    expect((await lamella('trace', folder, '41,31', ...crops)).stderr).toContain('folder of photographs');
    const other = join(around, 'other');
    cpSync(folder, other, { recursive: true });
    rmSync(join(other, 'run.json'));
    const page = join(other, 'page.html');
    expect((await lamella('check', frames, '--page', page)).stderr).toContain(`result folder ${other}`);
  });

  test('another file of the same ending, a folder, a link or a pipe', async () => {
    const { folder, frames } = await makeResult();
    const foreign = join(parent, 'holiday.png');
    cpSync(join(frames, 'f1.png'), foreign);
    const link = join(parent, 'link.png');
    symlinkSync(foreign, link);
    mkdirSync(join(parent, 'folder.png'));
    const before = contents(parent);
    for (const [name, words] of [
      ['holiday.png', 'is no contact sheet of Lamella'],
      ['link.png', 'it is a link'],
      ['folder.png', 'it is a folder'],
    ]) {
      const refused = await lamella('trace', folder, '41,31', '--crops', join(parent, name), '--overwrite');
      expect([refused.exitCode, refused.stderr]).toEqual([4, expect.stringContaining(words)]);
    }
    for (const [name, text] of [
      ['mine.html', '<!doctype html><title>My garden</title>'],
      ['mine.csv', 'species,count\nbee,3\n'],
    ]) {
      writeFileSync(join(parent, name), text);
      const refused = await lamella(...plan, '--depth', '5', '--sheet', join(parent, name), '--overwrite');
      expect([refused.exitCode, refused.stderr]).toEqual([
        4,
        expect.stringContaining('is no sheet of a plan'),
      ]);
      expect(readFileSync(join(parent, name), 'utf8')).toBe(text);
    }
    const report = join(parent, 'report.html');
    cpSync(join(folder, 'report.html'), report);
    const page = await lamella('check', frames, '--page', report, '--overwrite');
    expect([page.exitCode, page.stderr]).toEqual([4, expect.stringContaining('is no page of a check')]);
    expect(contents(parent)).toMatchObject(before);
  });

  test('anything, when a program asks for it', async () => {
    const { folder, frames } = await makeResult();
    const report = await traceRegion(folder, { x: 40, y: 30, width: 64, height: 50 });
    const write = (path: string, overwrite?: boolean) =>
      writeContactSheet(path, folder, report, { overwrite });
    await expect(write(join(frames, 'f1.png'), true)).rejects.toThrow('folder of photographs');
    await expect(write(join(folder, 'depth.png'), true)).rejects.toThrow('result folder');
    const path = join(parent, 'sheet.png');
    await write(path);
    await expect(write(path)).rejects.toThrow('exists already');
    await write(path, true);
  });
});

test('an earlier sheet of the same kind is replaced when it may be, and nothing is left beside it', async () => {
  const { folder } = await makeResult();
  const sheet = join(parent, 'eye.png');
  const crops = ['trace', folder, '41,31', '--crops', sheet];
  expect((await lamella(...crops)).exitCode).toBe(0);
  expect((await lamella(...crops)).stderr).toContain('exists already');
  expect((await lamella(...crops, '--overwrite')).exitCode).toBe(0);
  for (const name of ['plan.html', 'plan.csv']) {
    const path = join(parent, name);
    expect((await lamella(...plan, '--depth', '5', '--sheet', path)).exitCode).toBe(0);
    expect((await lamella(...plan, '--depth', '4', '--sheet', path)).exitCode).toBe(4);
    expect((await lamella(...plan, '--depth', '4', '--sheet', path, '--overwrite')).exitCode).toBe(0);
  }
  expect(readdirSync(parent).sort()).toEqual(['eye.png', 'plan.csv', 'plan.html']);
});

test.each(['tif', 'png', 'jpg'] as const)(
  'a folder of earlier contact sheets and of composites as %s takes one more file',
  async (format) => {
    const camera = sharp({ create: { width: 8, height: 8, channels: 3, background: 'grey' } })
      .withExif({ IFD0: { Make: 'Test', Software: 'firmware 1.2' } })
      .jpeg();
    const { exif } = await sharp(await camera.toBuffer()).metadata();
    const { folder, frames } = await makeResult({ format, exif: exif! });
    for (const number of [1, 2, 3, 4]) {
      const sheet = join(parent, `eye-${number}.png`);
      expect((await lamella('trace', folder, '41,31', '--crops', sheet)).exitCode).toBe(0);
      cpSync(join(folder, `composite.${format}`), join(parent, `bee-${number}.${format}`));
    }
    for (const number of [1, 2]) cpSync(join(frames, 'f1.png'), join(parent, `photograph-${number}.png`));
    const sheet = await lamella(...plan, '--depth', '5', '--sheet', join(parent, 'p.csv'));
    expect([sheet.exitCode, sheet.stderr]).toEqual([0, expect.stringContaining('p.csv')]);
  },
);
