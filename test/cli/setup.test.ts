import { spawnSync } from 'node:child_process';
import {
  chmodSync,
  copyFileSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  rmSync,
  utimesSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { delimiter, dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';

const setup = fileURLToPath(new URL('../../bin/setup.js', import.meta.url));
const lock = {
  packages: {
    '': { version: '0.1.0' },
    'node_modules/a': { version: '1.0.0', integrity: 'sha512-a' },
    'node_modules/elsewhere': { version: '1.0.0', integrity: 'sha512-b', optional: true },
  },
};

/** Stands in for npm: notes how it was called, and leaves behind what npm and the compilers would. */
const fakeNpm = `#!/bin/sh
echo "$*" >> npm-calls
[ -e npm-fails ] && exit 7
case "$1" in
  ci) mkdir -p node_modules; cp installed.json node_modules/.package-lock.json;;
  run) mkdir -p dist/bundles dist/kernels; touch dist/bundles/main.js dist/kernels/lamella.wasm;;
esac
`;

let clone: string;

beforeEach(() => {
  clone = mkdtempSync(join(tmpdir(), 'lamella-setup-'));
  put('package-lock.json', JSON.stringify(lock));
  const { '': _root, 'node_modules/elsewhere': _optional, ...installed } = lock.packages;
  put('installed.json', JSON.stringify({ packages: installed }));
  put('package.json', '{"type":"module"}');
  put('tsconfig.json', '{}');
  put('src/deep/file.ts', '');
  put('samples/sample.ts', '');
  put('tools/npm', fakeNpm);
  chmodSync(join(clone, 'tools/npm'), 0o755);
  mkdirSync(join(clone, 'bin'));
  copyFileSync(setup, join(clone, 'bin/setup.js'));
});

afterEach(() => rmSync(clone, { recursive: true }));

function put(path: string, content: string): void {
  mkdirSync(dirname(join(clone, path)), { recursive: true });
  writeFileSync(join(clone, path), content);
}

/** Run the setup as a fresh process, from elsewhere; tells what it asked of npm. */
function runSetup(): { status: number | null; output: string; calls: string[] } {
  rmSync(join(clone, 'npm-calls'), { force: true });
  const { status, stdout, stderr } = spawnSync(process.execPath, [join(clone, 'bin/setup.js')], {
    cwd: tmpdir(),
    encoding: 'utf8',
    env: { ...process.env, PATH: join(clone, 'tools') + delimiter + process.env.PATH },
  });
  const record = join(clone, 'npm-calls');
  const calls = existsSync(record) ? readFileSync(record, 'utf8').trim().split('\n') : [];
  return { status, output: stdout + stderr, calls: calls.map((call) => call.split(' --')[0]) };
}

/** A time after everything that was made so far, whatever the resolution of the file system. */
function touchLater(path: string): void {
  const later = new Date(Date.now() + 10_000);
  utimesSync(join(clone, path), later, later);
}

describe('the setup of a clone', () => {
  it('installs and builds what is fresh, and then has nothing to do or say', () => {
    expect(runSetup()).toMatchObject({ status: 0, calls: ['ci', 'run build'] });
    expect(runSetup()).toEqual({ status: 0, output: '', calls: [] });
  });

  it('builds again when a source, or the compiler settings, are younger', () => {
    for (const path of ['src/deep/file.ts', 'tsconfig.json']) {
      runSetup();
      touchLater(path);
      expect(runSetup().calls).toEqual(['run build']);
      utimesSync(join(clone, path), new Date(0), new Date(0));
    }
  });

  it('builds again when the last product of the build is missing', () => {
    runSetup();
    rmSync(join(clone, 'dist/kernels/lamella.wasm'));
    expect(runSetup().calls).toEqual(['run build']);
  });

  it('installs again when the lock names another version, and not when it was merely touched', () => {
    runSetup();
    touchLater('package-lock.json');
    expect(runSetup().calls).toEqual([]);
    put('package-lock.json', JSON.stringify(lock).replace('sha512-a', 'sha512-c'));
    expect(runSetup().calls[0]).toBe('ci');
  });

  it('installs again after an installation that did not finish', () => {
    runSetup();
    rmSync(join(clone, 'node_modules/.package-lock.json'));
    expect(runSetup().calls).toEqual(['ci']);
  });

  it('fails with a message when npm does', () => {
    put('npm-fails', '');
    const { status, output } = runSetup();
    expect(status).toBe(1);
    expect(output).toContain('Installing packages (npm ci) failed');
    expect(output).not.toContain('    at ');
  });
});
