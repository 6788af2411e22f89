import { spawnSync } from 'node:child_process';
import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { expect, test } from 'vitest';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { openResult } from '../../src/result/result-folder.js';
import { temporaryFolder } from './temporary-folder.js';

const script = fileURLToPath(new URL('./fixtures/killed-writer.ts', import.meta.url));

function write(out: string, label: string, killAt: number) {
  const args = ['--import', 'tsx', script, out, label, String(killAt)];
  return spawnSync(process.execPath, args, { encoding: 'utf8' });
}

/** The label of the result at `out`, after checking that all of its files belong together. */
async function labelOf(out: string): Promise<string> {
  const [label] = (await readRunRecord(out)).notes;
  expect(readdirSync(out).sort()).toEqual(['composite.tif', 'run.json']);
  expect(readFileSync(join(out, 'composite.tif'), 'utf8')).toBe(label.repeat(100_000));
  return label;
}

test('a run killed before any of its calls to the disk leaves the old result whole or the new one', async () => {
  const parent = temporaryFolder();
  const out = join(parent, 'seed-merged');
  const calls = Number(write(out, 'a', 0).stdout);
  expect(calls).toBeGreaterThan(6);

  const seen: string[] = [];
  let missing = 0;
  let old = 'a';
  // Until a run outlives its kill: replacing takes more calls than creating did, by no more than half.
  let outlived = false;
  for (let killAt = 1; !outlived && killAt <= 1.5 * calls + 4; killAt++) {
    const label = String.fromCharCode('a'.charCodeAt(0) + killAt);
    const { signal } = write(out, label, killAt);
    if (!existsSync(out)) missing++;
    const now = await labelOf(out);
    expect([old, label]).toContain(now);
    outlived = signal === null;
    if (outlived) expect(now).toBe(label);
    seen.push(`${outlived ? 'lived' : 'killed'} ${now === label ? 'new' : 'old'}`);
    old = now;
  }
  // The sweep went past the end, met kills with either outcome, and the one moment between the renames.
  expect(new Set(seen)).toEqual(new Set(['killed old', 'killed new', 'lived new']));
  expect(missing).toBe(1);

  const next = await openResult(out, { overwrite: true });
  await next.discard();
  expect(readdirSync(parent)).toEqual(['seed-merged']);
});

test('a killed first run leaves no result, and its leftovers go with the next', async () => {
  const parent = temporaryFolder();
  const out = join(parent, 'seed-merged');
  expect(write(out, 'a', 5).signal).toBe('SIGKILL');
  expect(existsSync(out)).toBe(false);
  expect(readdirSync(parent)).toHaveLength(1);
  expect(write(out, 'b', 0).status).toBe(0);
  expect(readdirSync(parent)).toEqual(['seed-merged']);
  expect(await labelOf(out)).toBe('b');
});
