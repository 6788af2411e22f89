import { spawnSync } from 'node:child_process';
import { cpSync, mkdtempSync, readdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';

const root = fileURLToPath(new URL('../..', import.meta.url));
const program = join(root, 'bin/lamella.js');
let elsewhere: string;

beforeAll(() => {
  const { status, stderr } = spawnSync(process.execPath, [join(root, 'bin/setup.js')], { encoding: 'utf8' });
  expect(status, stderr).toBe(0);
  elsewhere = mkdtempSync(join(tmpdir(), 'lamella-program-'));
});

afterAll(() => rmSync(elsewhere, { recursive: true, force: true }));

/** Run the built program, from a folder that is not its own. */
function lamella(...args: string[]) {
  return spawnSync(process.execPath, [program, ...args], { cwd: elsewhere, encoding: 'utf8' });
}

describe('the built program', () => {
  it('shows its help and its version on stdout', () => {
    for (const args of [['--help'], ['merge', '--help'], ['--version']]) {
      const { status, stdout, stderr } = lamella(...args);
      expect(status).toBe(0);
      expect(stderr).toBe('');
      expect(stdout).toMatch(args[0] === '--version' ? /^\d+\.\d+\.\d+\n$/ : /^Usage: lamella/);
    }
  });

  it.each([
    [
      ['merge', 'bee', '--threads', '300'],
      'Expected a whole number from 1 to 256 for --threads but received 300',
    ],
    [['merge', 'bee', '--frams', '1-2'], '(Did you mean --frames?)'],
    [['mend-all'], "unknown command 'mend-all'"],
  ])('%j is a usage error: exit code 2, a message, no stack, nothing written', (args, message) => {
    const { status, stdout, stderr } = lamella(...args);
    expect(status).toBe(2);
    expect(stdout).toBe('');
    expect(stderr).toContain(message);
    expect(stderr).not.toMatch(/^ {4}at /m);
    expect(readdirSync(elsewhere)).toEqual([]);
  });

  it('says what to do where it was not built', () => {
    const clone = join(elsewhere, 'clone');
    cpSync(join(root, 'bin'), join(clone, 'bin'), { recursive: true });
    cpSync(join(root, 'package.json'), join(clone, 'package.json'));
    const { status, stderr } = spawnSync(process.execPath, [join(clone, 'bin/lamella.js'), 'merge', 'bee'], {
      encoding: 'utf8',
    });
    expect(status).toBe(1);
    expect(stderr).toBe('lamella: not built yet: run "npm run build" in the folder of Lamella first.\n');
  });
});
