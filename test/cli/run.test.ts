import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, it, vi } from 'vitest';
import { runCli } from '../../src/cli/run.js';
import { InputError, OutputError } from '../../src/errors.js';
import type { MergeFunction } from '../../src/merge/merge-api.js';
import { resolveOptions } from '../../src/options/resolve-merge-options.js';
import { fakeSystem } from './fake-system.js';
import { fakeMerge, mergeEvents } from './fixtures/fake-merge.js';

async function run(args: string[], merge?: MergeFunction) {
  const system = fakeSystem(merge);
  const exitCode = await runCli(args, '1.2.3', system);
  return { exitCode, stdout: system.stdout.text, stderr: system.stderr.text };
}

describe('a merge that ends well', () => {
  it('prints the path of the result alone on stdout', async () => {
    const { exitCode, stdout, stderr } = await run(['merge', '/tmp/bee']);
    expect(exitCode).toBe(0);
    expect(stdout).toBe('/tmp/bee-merged\n');
    expect(stderr).toContain('Done in');
  });

  it('prints events instead with --json, and nothing on stdout with --quiet', async () => {
    const { stdout, stderr } = await run(['merge', '/tmp/bee', '--json']);
    expect(stdout.trim().split('\n')).toHaveLength(mergeEvents.length);
    expect(stderr).toBe('');
    expect((await run(['merge', '/tmp/bee', '--quiet'])).stdout).toBe('');
  });

  it('was given the folder, all options resolved, and the place of the result', async () => {
    const merge = vi.fn(fakeMerge);
    await run(['merge', 'a folder', '--out', 'there', '--rule', 'weigh', '--skip', '9,3'], merge);
    expect(merge).toHaveBeenCalledOnce();
    const [folder, options] = merge.mock.calls[0];
    expect(folder).toBe('a folder');
    expect(options).toEqual({ ...resolveOptions({ rule: 'weigh', skip: [3, 9] }), out: 'there' });
  });

  it('was given the positions of the file', async () => {
    const folder = await mkdtemp(join(tmpdir(), 'lamella-run-'));
    try {
      const file = join(folder, 'rail.csv');
      await writeFile(file, 'mm\n0\n0.25\n0.5\n');
      const merge = vi.fn(fakeMerge);
      expect((await run(['merge', 'bee', '--positions', file], merge)).exitCode).toBe(0);
      expect(merge.mock.calls[0][1].positionsMm).toEqual([0, 0.25, 0.5]);
    } finally {
      await rm(folder, { recursive: true });
    }
  });
});

describe('a usage error', () => {
  it.each([
    [['merge', 'bee', '--step', '0'], 'Expected a number from 0.00001 to 1000 mm for --step but received 0'],
    [
      ['merge', 'bee', '--step', '-1'],
      'Expected a number from 0.00001 to 1000 mm for --step but received -1',
    ],
    [
      ['merge', 'bee', '--step', 'NaN'],
      'Expected a number from 0.00001 to 1000 mm for --step but received NaN',
    ],
    [
      ['merge', 'bee', '--direction', 'sideways'],
      'Expected auto, near-to-far or far-to-near for --direction but received sideways',
    ],
    [['merge', 'bee', '--direction', ''], 'for --direction but received an empty text'],
    [
      ['check', 'bee', '--direction', 'near'],
      'Expected auto, near-to-far or far-to-near for --direction but received near',
    ],
    [['merge', 'bee', '--memory', '1e999'], 'for --memory but received 1e999'],
    [['merge', 'bee', '--frames', '80-5'], 'for --frames but received 80-5'],
    [
      ['merge', 'bee', '--step', '1', '--positions', 'none.csv'],
      'Expected --step or --positions but received both',
    ],
    [['merge', 'bee', '--out', ''], 'Expected the path of a folder for --out but received an empty text'],
    [['merge', 'bee', '--ruel', 'auto'], "unknown option '--ruel'\n(Did you mean --rule?)"],
    [['merge', 'bee', '--rule'], "option '--rule <auto|select|weigh>' argument missing"],
    [['merge', 'bee', 'wasp'], "too many arguments for 'merge'"],
    [['merge'], "missing required argument 'folder'"],
    [['mrege', 'bee'], "unknown command 'mrege'\n(Did you mean merge?)"],
    [['help', 'mrege'], "unknown command 'mrege'\n(Did you mean merge?)"],
    [['--nothing'], "unknown option '--nothing'"],
  ])('%j exits with 2, says why on stderr, and does not merge', async (args, message) => {
    const merge = vi.fn(fakeMerge);
    const { exitCode, stdout, stderr } = await run(args, merge);
    expect(exitCode).toBe(2);
    expect(stdout).toBe('');
    expect(stderr).toContain(`lamella: `);
    expect(stderr).toContain(message);
    expect(stderr).not.toMatch(/^ {4}at /m);
    expect(merge).not.toHaveBeenCalled();
  });

  it('of a flag that does not exist points to the help of its command', async () => {
    expect((await run(['merge', 'bee', '--nothing'])).stderr).toContain('Run "lamella merge --help"');
    expect((await run(['nothing'])).stderr).toContain('Run "lamella --help"');
  });
});

describe('a failed merge', () => {
  it.each([
    [new InputError('The folder bee holds no frames.'), 3],
    [new OutputError('The disk is full.'), 4],
  ])('prints its message alone: %s', async (error, code) => {
    const { exitCode, stdout, stderr } = await run(['merge', 'bee'], () => Promise.reject(error));
    expect(exitCode).toBe(code);
    expect(stdout).toBe('');
    expect(stderr).toBe(`lamella: ${error.message}\n`);
  });

  it('is an event too for programs', async () => {
    const merge: MergeFunction = () => Promise.reject(new InputError('No frames.'));
    const { exitCode, stdout } = await run(['merge', 'bee', '--json'], merge);
    expect(exitCode).toBe(3);
    expect(JSON.parse(stdout)).toEqual({ event: 'error', message: 'No frames.', exitCode: 3 });
  });

  it('by a defect shows the stack and says that it is one', async () => {
    const { exitCode, stderr } = await run(['merge', 'bee'], () =>
      Promise.reject(new TypeError('x is undefined')),
    );
    expect(exitCode).toBe(1);
    expect(stderr).toContain('TypeError: x is undefined\n    at ');
    expect(stderr).toContain('This is a defect of Lamella');
  });

  it('by a missing positions file is an input error', async () => {
    const { exitCode, stderr } = await run(['merge', 'bee', '--positions', '/nowhere/rail.csv']);
    expect(exitCode).toBe(3);
    expect(stderr).toContain('/nowhere/rail.csv');
  });
});

describe('an interrupted merge', () => {
  it('exits with 130, without a stack, and takes the progress line away', async () => {
    const merge: MergeFunction = (_folder, _options, { onEvent, signal }) =>
      new Promise((_resolve, reject) => {
        for (const event of mergeEvents.slice(0, 9)) onEvent?.(event);
        signal?.addEventListener('abort', () => reject(signal.reason));
      });
    const system = fakeSystem(merge, 80);
    const done = runCli(['merge', 'bee'], '1.2.3', system);
    await vi.waitFor(() => expect(system.stderr.text).toContain('Aligning'));
    system.signals.emit('SIGINT');
    expect(await done).toBe(130);
    expect(system.stderr.text).toMatch(/\[2K\rlamella: Interrupted: nothing was written\.\n$/);
    expect(system.abandonResult).not.toHaveBeenCalled();
  });

  it('that does not stop is cleared away at the place that it named', async () => {
    const merge: MergeFunction = (_folder, _options, { onEvent }) => {
      onEvent?.(mergeEvents[0]);
      return new Promise(() => {});
    };
    const system = fakeSystem(merge);
    const done = runCli(['merge', 'bee'], '1.2.3', system);
    await vi.waitFor(() => expect(system.stderr.text).toContain('40 frames'));
    system.signals.emit('SIGTERM');
    expect(await done).toBe(130);
    expect(system.abandonResult).toHaveBeenCalledExactlyOnceWith('/tmp/bee-merged');
  });
});

describe('help', () => {
  it('is data on stdout: asked for, it exits with 0', async () => {
    for (const args of [['--help'], ['help'], ['merge', '--help'], ['help', 'merge']]) {
      const { exitCode, stdout, stderr } = await run(args);
      expect(exitCode).toBe(0);
      expect(stderr).toBe('');
      expect(stdout).toContain('Usage: lamella');
    }
  });

  it('of merge names every exit code, gives an example and all flags', async () => {
    const { stdout } = await run(['merge', '--help']);
    for (const code of [0, 1, 2, 3, 4, 130]) expect(stdout).toMatch(new RegExp(`^ {2}${code} {2,}\\S`, 'm'));
    expect(stdout).toContain('lamella merge bee-head');
    for (const flag of ['--out', '--json', '--quiet', '--positions', '--rule', '--help']) {
      expect(stdout).toContain(`  ${flag}`.replace('  --help', '-h, --help'));
    }
  });

  it('tells the version', async () => {
    expect(await run(['--version'])).toEqual({ exitCode: 0, stdout: '1.2.3\n', stderr: '' });
  });
});
