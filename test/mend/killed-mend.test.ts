import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { cpSync, existsSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { expect, test } from 'vitest';
import { appliedMends } from '../../src/mend/mended-record.js';
import { writeMends } from '../../src/mend/mends-file.js';
import { readRunRecord } from '../../src/result/read-run-record.js';
import { makeResult, size } from './made-result.js';

const script = fileURLToPath(new URL('./fixtures/killed-mender.ts', import.meta.url));

function run(folder: string, killAt: number) {
  return spawnSync(process.execPath, ['--import', 'tsx', script, folder, String(killAt)], {
    encoding: 'utf8',
  });
}

/** The pictures of a result, all files together. */
function pictures(folder: string): string {
  const hash = createHash('sha256');
  for (const name of ['composite.tif', 'depth.tif', 'sources.png', 'confidence.png', 'coverage.png']) {
    hash.update(readFileSync(join(folder, name)));
  }
  return hash.digest('hex');
}

test('a mend killed at any call to the disk leaves the unmended result whole or the mended one', async () => {
  const { folder, parent } = await makeResult();
  const region = { kind: 'rectangle', x: 60, y: 50, width: 40, height: 30 } as const;
  await writeMends(folder, size, [{ id: 1, frame: 3, region, featherPx: 20, note: '', kept: true }]);
  const kept = join(parent, 'kept');
  cpSync(folder, kept, { recursive: true });
  const unmended = pictures(folder);
  const calls = Number(run(folder, 0).stdout);
  expect(calls).toBeGreaterThan(30);
  const mended = pictures(folder);
  expect(mended).not.toBe(unmended);

  // A sample of the way there, and each of the last calls, where one result takes the place of the other.
  const places = [5, 16, 27].filter((place) => place < calls - 6);
  for (let place = calls - 4; place <= calls; place++) places.push(place);
  const outcomes = new Set<string>();
  let missing = 0;
  for (const place of places) {
    rmSync(folder, { recursive: true, force: true });
    // With the lock of the one killed before there would be more calls: see mended-at-once.test.ts for that.
    rmSync(join(parent, '.merged.lamella-mending'), { force: true });
    cpSync(kept, folder, { recursive: true });
    expect(run(folder, place).signal).toBe('SIGKILL');
    if (!existsSync(folder)) missing++;
    // Reading puts back what a killed run left aside.
    const record = await readRunRecord(folder);
    const isMended = appliedMends(record).length === 1;
    expect(pictures(folder)).toBe(isMended ? mended : unmended);
    expect(existsSync(join(folder, 'mends.json'))).toBe(true);
    outcomes.add(isMended ? 'new' : 'old');
  }
  expect(outcomes).toEqual(new Set(['old', 'new']));
  expect(missing).toBeLessThanOrEqual(1);
  expect(run(folder, 0).status).toBe(0);
  expect(readdirSync(parent).sort()).toEqual(['frames', 'kept', 'merged']);
});
