import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { Worker } from 'node:worker_threads';
import { beforeAll, describe, expect, it } from 'vitest';
import { describeFailure } from '../../src/cli/failure.js';
import { exitCodes, type SystemFault } from '../../src/errors.js';
import { systemFailureOf } from '../../src/system-failure.js';
import { renderTiny } from '../batch/tiny-stacks.js';
import { placeStack } from '../merge/small-stack.js';
import { makeFolder } from '../stack/pictures.js';

const program = fileURLToPath(new URL('../../bin/lamella.js', import.meta.url));
let files: Record<string, Buffer>;
beforeAll(async () => {
  files = await renderTiny();
});

/** The program under the limits that a shell sets before it. */
function runUnder(limits: string, args: string[], cwd = makeFolder(), env = {}) {
  const command = `${limits}; exec "$0" "$@"`;
  const { status, stderr } = spawnSync('sh', ['-c', command, process.execPath, program, ...args], {
    ...{ cwd, encoding: 'utf8', timeout: 120_000 },
    env: { ...process.env, ...env },
  });
  return { status, last: stderr.trim().split('\n').at(-1) ?? '', stderr };
}

// Limits of processes are those of Linux; elsewhere the shell has others.
describe.runIf(process.platform === 'linux')('the program names what the system denies', () => {
  it.each<[string, string, RegExp]>([
    [
      'too little address space',
      'ulimit -v 4000000',
      /^lamella: The address space .* "ulimit -v unlimited"\.$/,
    ],
    ['hardly any file handles', 'ulimit -n 20', /^lamella: Too many files are open at once: .*ulimit -n/],
    ['too few file handles', 'ulimit -n 44', /^lamella: Too many files are open at once: .*ulimit -n/],
  ])('%s', (_what, limits, message) => {
    const { frames, out } = placeStack(files);
    const { status, last, stderr } = runUnder(limits, ['merge', frames, '--out', out, '--threads', '2']);
    expect(last).toMatch(message);
    expect(status).toBe(exitCodes.system);
    expect(stderr).not.toMatch(/defect|^ {4}at /m);
    expect(existsSync(out)).toBe(false);
  });

  it('a working folder that was removed', () => {
    const { frames, out } = placeStack(files);
    const gone = join(makeFolder(), 'gone');
    mkdirSync(gone);
    const { status, last } = runUnder(`rmdir ${JSON.stringify(gone)}`, ['merge', frames, '--out', out], gone);
    expect(last).toMatch(/^lamella: The folder that this program was started in no longer exists: /);
    expect(status).toBe(exitCodes.system);
  });

  it('a folder of temporary files that is not there', () => {
    const { frames, out } = placeStack(files);
    expect(runUnder(':', ['merge', frames, '--out', out]).status).toBe(0);
    const { status, last } = runUnder(':', ['view', out], undefined, { TMPDIR: '/no/such/folder' });
    expect(last).toBe(
      'lamella: Temporary files cannot be written into "/no/such/folder": make that folder, or name another one in the variable TMPDIR.',
    );
    expect(status).toBe(exitCodes.system);
  });

  it('no more threads are started than the address space has room for', () => {
    const { frames, out } = placeStack(files);
    const { status } = runUnder('ulimit -v 37000000', ['merge', frames, '--out', out, '--threads', '200']);
    expect(status).toBe(0);
  });
});

describe('systemFailureOf', () => {
  const withCode = (code: string, message = 'failed') => Object.assign(new Error(message), { code });

  it.each<[SystemFault, unknown]>([
    ['open-files', withCode('EMFILE')],
    ['open-files', new Error('VipsForeignLoad: unable to open "a.jpg": Too many open files')],
    ['address-space', new RangeError('WebAssembly.Memory(): could not allocate memory')],
    ['memory', new RangeError('Array buffer allocation failed')],
    ['memory', new Error('vips__tracked: out of memory --- size == 75MB')],
    ['temporary-folder', new Error('unable to make temporary file /nowhere/vips-0-1.v')],
    ['working-folder', withCode('ENOENT', 'ENOENT: no such file or directory, uv_cwd')],
    ['threads', withCode('ERR_WORKER_INIT_FAILED')],
    ['memory', new Error('a.jpg cannot be read', { cause: withCode('ENOMEM') })],
  ])('tells %s by %s', (fault, error) => {
    const failure = systemFailureOf(error);
    expect(failure?.fault).toBe(fault);
    expect(describeFailure(error)).toEqual({ exitCode: 5, message: failure?.message });
  });

  it('tells a thread that ran out of memory, as the runtime reports it', async () => {
    const worker = new Worker('const all = []; for (;;) all.push(new Array(1000).fill(all.length));', {
      eval: true,
      resourceLimits: { maxOldGenerationSizeMb: 4, maxYoungGenerationSizeMb: 1 },
    });
    const error = await new Promise((resolve) => worker.once('error', resolve));
    expect(systemFailureOf(error)?.fault).toBe('worker-memory');
  });

  it('leaves defects and faults of files what they are', () => {
    for (const error of [new TypeError('x is undefined'), withCode('ENOENT'), withCode('EACCES'), 'text']) {
      expect(systemFailureOf(error)).toBeUndefined();
    }
    expect(describeFailure(new TypeError('x')).exitCode).toBe(exitCodes.bug);
  });
});

describe('a run.json whose transform cannot be inverted', () => {
  it.each([
    ['singular', [1, 1, 0, 1, 1, 0, 0, 0, 1]],
    ['of a scale that no stack has', [1e9, 0, 0, 0, 1e9, 0, 0, 0, 1]],
    ['not affine', [1, 0, 0, 0, 1, 0, 0.1, 0, 1]],
  ])('(%s) is named as damaged', (_what, transform) => {
    const { frames, out } = placeStack(files);
    expect(runUnder(':', ['merge', frames, '--out', out, '--threads', '1']).status).toBe(0);
    const path = join(out, 'run.json');
    const record = JSON.parse(readFileSync(path, 'utf8'));
    record.frames[1].transform = transform;
    writeFileSync(path, JSON.stringify(record));
    const { status, last } = runUnder(':', ['trace', out, '10,10,20,20']);
    expect(last).toMatch(/run\.json is damaged: Expected an affine transform .* for frames\[1\]\.transform/);
    expect(status).toBe(exitCodes.input);
  });
});
