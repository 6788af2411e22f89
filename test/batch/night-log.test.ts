import { execFileSync } from 'node:child_process';
import { readFileSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, it } from 'vitest';
import { logLine, logName } from '../../src/batch/night-log.js';
import { makeFolder } from '../stack/pictures.js';

const now = new Date(2026, 0, 2, 3, 4, 5);

it('adds lines with their time', () => {
  const out = makeFolder();
  logLine(out, 'ant: done', now);
  logLine(out, 'bee: failed\nsays why', now);
  expect(readFileSync(join(out, logName), 'utf8')).toMatch(/ant: done\n.*bee: failed \| says why\n$/);
});

it.skipIf(process.platform === 'win32')(
  'neither waits for a pipe in its place nor writes where a link leads',
  () => {
    const out = makeFolder();
    execFileSync('mkfifo', [join(out, logName)]);
    logLine(out, 'ant: done', now);
    const linked = makeFolder({ 'IMG_0001.JPG': 'a photograph' });
    const other = makeFolder();
    symlinkSync(join(linked, 'IMG_0001.JPG'), join(other, logName));
    logLine(other, 'ant: done', now);
    expect(readFileSync(join(linked, 'IMG_0001.JPG'), 'utf8')).toBe('a photograph');
    // A folder neither.
    writeFileSync(join(linked, 'x'), '');
    logLine(join(linked, 'x'), 'ant: done', now);
  },
);
