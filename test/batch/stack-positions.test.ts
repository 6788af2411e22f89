import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import { runCli } from '../../src/cli/run.js';
import { fakeSystem } from '../cli/fake-system.js';
import { makeFolder } from '../stack/pictures.js';
import { placeFrames, renderTiny } from './tiny-stacks.js';

let frames: Record<string, Buffer>;
beforeAll(async () => {
  frames = await renderTiny();
});

async function dryRun(root: string, ...args: string[]) {
  const system = fakeSystem();
  const exitCode = await runCli(['batch', root, '--dry-run', ...args], '1.2.3', system);
  return { exitCode, stdout: system.stdout.text, stderr: system.stderr.text };
}

describe('positions of a batch', () => {
  it('that turn back are refused with the name of their file, before the search', async () => {
    const path = join(makeFolder(), 'rail.csv');
    writeFileSync(path, '0\n1\n0.5\n');
    const { exitCode, stderr } = await dryRun('/not/there', '--positions', path);
    expect(exitCode).toBe(2);
    expect(stderr).toContain(`${path}: Expected two or more positions`);
  });

  it('of another number than the photographs are told by the file that they stand in, before the work', async () => {
    const root = makeFolder();
    placeFrames(join(root, 'bee'), frames);
    placeFrames(join(root, 'fly'), frames);
    const own = join(root, 'fly', 'lamella.json');
    writeFileSync(own, '{ "positionsMm": [0, 1, 2, 3, 4] }');
    const path = join(makeFolder(), 'rail.csv');
    writeFileSync(path, '0\n1\n');
    const { stdout } = await dryRun(root, '--positions', path);
    expect(stdout).toMatch(new RegExp(`bee: cannot run: .*3 photographs in .* but received 2 in ${path}`));
    expect(stdout).toMatch(new RegExp(`fly: cannot run: .*3 photographs in .* but received 5 in ${own}`));
    writeFileSync(path, '0\n1\n3\n');
    expect((await dryRun(root, '--positions', path)).stdout).toMatch(/^bee: 3 frames/m);
  });
});
