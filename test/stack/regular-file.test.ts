import { execFileSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync, symlinkSync, truncateSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { runCli } from '../../src/cli/run.js';
import { InputError } from '../../src/errors.js';
import { readPositionsFile } from '../../src/rail/positions-table.js';
import { fileErrorReason } from '../../src/stack/file-error.js';
import { hashFile } from '../../src/stack/hash-file.js';
import { readBoundedText } from '../../src/stack/regular-file.js';
import { fakeSystem } from '../cli/fake-system.js';
import { makeResult } from '../mend/made-result.js';

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'lamella-regular-'));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

/** A named pipe into which nobody writes: whoever opens it to read waits for ever. */
function makePipe(path: string): string {
  rmSync(path, { force: true });
  execFileSync('mkfifo', [path]);
  return path;
}

async function lamella(...args: string[]) {
  const system = fakeSystem();
  const exitCode = await runCli(args, '1.2.3', system);
  return { exitCode, stdout: system.stdout.text, stderr: system.stderr.text };
}

describe.skipIf(process.platform === 'win32')('what is no regular file', () => {
  test('is refused by its kind, instead of being waited for', async () => {
    const pipe = makePipe(join(folder, 'pipe'));
    const link = join(folder, 'link');
    symlinkSync(pipe, link);
    for (const [path, words] of [
      [pipe, 'it is a named pipe, not a file'],
      [link, 'it is a named pipe, not a file'],
      ['/dev/zero', 'it is a device, not a file'],
      [folder, 'it is a folder, not a file'],
    ]) {
      const error: unknown = await readBoundedText(path, 1000).catch((reason: unknown) => reason);
      expect(fileErrorReason(error)).toBe(words);
    }
    await expect(hashFile(pipe)).rejects.toThrow(`"${pipe}" cannot be read: it is a named pipe, not a file.`);
    await expect(readPositionsFile(pipe)).rejects.toThrow(InputError);
  });

  test.each([
    ['run.json', ['trace', 'RESULT', '41,31']],
    ['run.json', ['mend', 'RESULT', '--list']],
    ['run.json', ['view', 'RESULT']],
    ['mends.json', ['mend', 'RESULT', '--list']],
    ['mends.json', ['mend', 'RESULT', '--add', 'frame=3', '--region', '60,50,40,30']],
    ['sources.png', ['trace', 'RESULT', '41,31']],
    ['depth.tif', ['trace', 'RESULT', '41,31']],
    ['composite.tif', ['mend', 'RESULT', '--add', 'frame=3', '--region', '60,50,40,30']],
    ['composite.tif', ['view', 'RESULT']],
  ])('under the name %s in a result ends %j with a message', async (name, args) => {
    const { folder: result } = await makeResult();
    makePipe(join(result, name));
    const { exitCode, stderr } = await lamella(...args.map((arg) => (arg === 'RESULT' ? result : arg)));
    expect(exitCode).toBe(3);
    expect(stderr).toContain(join(result, name));
    expect(stderr).toMatch(/it is a named pipe, not a file|missing or damaged/);
  });

  test('given as --positions, or as lamella.json of a stack, ends the command with a message', async () => {
    const pipe = makePipe(join(folder, 'rail.csv'));
    const stack = join(folder, 'stack');
    mkdirSync(stack);
    const positions = await lamella('merge', stack, '--positions', pipe);
    expect([positions.exitCode, positions.stderr]).toEqual([3, expect.stringContaining('a named pipe')]);
    const options = makePipe(join(stack, 'lamella.json'));
    for (const name of ['a.png', 'b.png', 'c.png']) writeFileSync(join(stack, name), 'no picture');
    const batch = await lamella('batch', folder, '--dry-run', '--out', join(folder, 'out'));
    expect(batch.stderr).not.toContain('defect');
    expect(batch.stderr + batch.stdout).toContain(
      `${options} cannot be read: it is a named pipe, not a file`,
    );
  });
});

describe('a small file', () => {
  test('is read whole up to the bound, and refused beyond it before it is read', async () => {
    const path = join(folder, 'text');
    writeFileSync(path, 'ä'.repeat(500));
    expect(await readBoundedText(path, 1000)).toBe('ä'.repeat(500));
    await expect(readBoundedText(path, 999)).rejects.toThrow('it is larger than 0.000999 MB');
    // A sparse file: more than memory would hold.
    truncateSync(path, 2 ** 40);
    await expect(readBoundedText(path, 1e6)).rejects.toThrow('it is larger than 1 MB');
  });

  test.skipIf(process.platform !== 'linux')(
    'of unknown size is held to the bound as it is read',
    async () => {
      // Files of /proc give their size as 0 (proc(5)).
      expect(await readBoundedText('/proc/self/status', 1e6)).toContain('VmRSS');
      await expect(readBoundedText('/proc/self/status', 10)).rejects.toThrow('it is larger than');
    },
  );

  test('that is a run.json of a terabyte is named as too large', async () => {
    const { folder: result } = await makeResult();
    truncateSync(join(result, 'run.json'), 2 ** 40);
    const { exitCode, stderr } = await lamella('trace', result, '41,31');
    expect([exitCode, stderr]).toEqual([3, expect.stringContaining('it is larger than 128 MB')]);
  });
});
