import { spawnSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { expect, it } from 'vitest';
import * as library from '../../src/index.js';

const root = fileURLToPath(new URL('../..', import.meta.url));

it('the pages about the library are made without a warning, one for every function', () => {
  const { status, stdout, stderr } = spawnSync(process.execPath, ['bin/api.js'], {
    cwd: root,
    encoding: 'utf8',
  });
  expect(stdout + stderr).not.toMatch(/warning|error/i);
  expect(status).toBe(0);
  for (const [name, value] of Object.entries(library)) {
    if (typeof value !== 'function') continue;
    const folder = /^[A-Z]/.test(name) ? 'classes' : 'functions';
    expect(existsSync(`${root}/.cache/api/${folder}/${name}.html`), name).toBe(true);
  }
}, 240_000);
