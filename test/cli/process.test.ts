import { type ChildProcess, spawn, spawnSync } from 'node:child_process';
import { once } from 'node:events';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';

const program = fileURLToPath(new URL('fixtures/fake-program.ts', import.meta.url));
const nodeArgs = ['--import', 'tsx', program, 'merge'];
const hasScript = spawnSync('script', ['--version']).status === 0;

/** Start the program on a fake merge and wait until it is under way. */
async function started(...args: string[]): Promise<{ child: ChildProcess; stderr: () => string }> {
  const child = spawn(process.execPath, [...nodeArgs, ...args], { stdio: ['ignore', 'pipe', 'pipe'] });
  let stderr = '';
  child.stderr?.on('data', (chunk) => {
    stderr += chunk;
  });
  while (!stderr.includes('40 frames') && child.exitCode === null) {
    await Promise.race([once(child.stderr!, 'data'), once(child, 'exit')]);
  }
  return { child, stderr: () => stderr };
}

describe('a process that is interrupted', () => {
  it.each([
    ['stops', 'SIGINT'],
    ['stops', 'SIGTERM'],
    // With a worker that never pauses, and a merge that never settles.
    ['deaf', 'SIGINT'],
    ['deaf', 'SIGTERM'],
  ] as const)(
    'while its merge %s, by %s, exits with 130 by itself and without a stack',
    async (folder, signal) => {
      const { child, stderr } = await started(folder);
      child.kill(signal);
      const [code, killedBy] = await once(child, 'close');
      expect(killedBy).toBeNull();
      expect(code).toBe(130);
      expect(stderr()).toMatch(/\nlamella: Interrupted: nothing was written\.\n$/);
    },
  );
});

describe('a process whose reader leaves', () => {
  it.each(['stdout', 'stderr'] as const)('on %s goes on quietly', async (stream) => {
    const args = stream === 'stdout' ? ['chatty', '--json'] : ['chatty'];
    const child = spawn(process.execPath, [...nodeArgs, ...args], { stdio: ['ignore', 'pipe', 'pipe'] });
    const other = stream === 'stdout' ? child.stderr : child.stdout;
    let heard = '';
    other.on('data', (chunk) => {
      heard += chunk;
    });
    child[stream].once('data', () => child[stream].destroy());
    const [code] = await once(child, 'close');
    expect(code).toBe(0);
    expect(heard).toBe(stream === 'stdout' ? '' : '/tmp/bee-merged\n');
  });

  it.skipIf(process.platform !== 'linux')('ends with 4 when its data cannot be written', () => {
    const command = `exec "${process.execPath}" --import tsx "${program}" merge chatty --json > /dev/full`;
    const { status, stderr } = spawnSync('sh', ['-c', command], { encoding: 'utf8' });
    expect(stderr).toMatch(/^lamella: Cannot write to standard output: .*ENOSPC/);
    expect(status).toBe(4);
  });
});

describe('a process that meets a defect', () => {
  it('outside of the merge shows the stack, says what it is, and exits with 1', async () => {
    const { child, stderr } = await started('defect');
    const [code] = await once(child, 'close');
    expect(code).toBe(1);
    expect(stderr()).toContain('RangeError: thrown outside of the merge\n    at ');
    expect(stderr()).toContain('This is a defect of Lamella');
  });
});

describe.skipIf(!hasScript)('a process on a terminal', () => {
  it('draws its progress there, and still gives the path of the result to a program', () => {
    const command = `'${process.execPath}' --import tsx '${program}' merge ends > /dev/null`;
    const { stdout, status } = spawnSync('script', ['-qec', command, '/dev/null'], {
      encoding: 'utf8',
      env: { ...process.env, TERM: 'xterm' },
    });
    expect(status).toBe(0);
    expect(stdout).toContain('Aligning');
    expect(stdout).toContain('\u001b[2K');
    expect(stdout).not.toContain('/tmp/bee-merged\r\n');
  });
});
