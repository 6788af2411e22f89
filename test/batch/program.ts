import { type ChildProcess, spawn } from 'node:child_process';
import { once } from 'node:events';
import { readdirSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

/** As `npm test` has built it. */
const program = fileURLToPath(new URL('../../bin/lamella.js', import.meta.url));

/** With the allocator set as the program would set it by starting anew, which costs each start twice. */
export const ready = { ...process.env, GLIBC_TUNABLES: 'glibc.malloc.arena_max=1' };

export interface Ended {
  code: number | null;
  signal: NodeJS.Signals | null;
  stdout: string;
  stderr: string;
}

/** A running `lamella batch`. */
export interface Program {
  child: ChildProcess;
  ended: Promise<Ended>;
  stderr: () => string;
  stdout: () => string;
}

/** Starts `lamella batch` with one thread, so that stacks run one after another, and options recorded the same. */
export function startBatch(args: string[], options: { uid?: number; nodeArgs?: string[] } = {}): Program {
  const { nodeArgs = [], ...others } = options;
  const all = [...nodeArgs, program, 'batch', ...args];
  const child = spawn(process.execPath, all, { stdio: ['ignore', 'pipe', 'pipe'], env: ready, ...others });
  let stdout = '';
  let stderr = '';
  child.stdout.on('data', (chunk) => {
    stdout += chunk;
  });
  child.stderr.on('data', (chunk) => {
    stderr += chunk;
  });
  const ended = once(child, 'close').then(([code, signal]) => ({ code, signal, stdout, stderr }));
  return { child, ended, stderr: () => stderr, stdout: () => stdout };
}

export function runBatchProgram(args: string[], options?: { uid?: number }): Promise<Ended> {
  return startBatch(args, options).ended;
}

/** Waits until `found` gives something, or the program ends. */
export async function waitFor<T>(running: Program, found: () => T | undefined): Promise<T> {
  for (;;) {
    const value = found();
    if (value !== undefined) return value;
    if (running.child.exitCode !== null || running.child.signalCode !== null) {
      throw new Error(`The program ended early:\n${running.stderr()}`);
    }
    await new Promise((resolve) => setTimeout(resolve, 10));
  }
}

/** Numbers of the child processes of a process, from /proc (Linux). */
export function childrenOf(pid: number): number[] {
  return readdirSync('/proc')
    .filter((name) => /^\d+$/.test(name))
    .flatMap((name) => {
      try {
        const stat = readFileSync(`/proc/${name}/stat`, 'utf8');
        const [state, parent] = stat.slice(stat.lastIndexOf(')') + 2).split(' ');
        return Number(parent) === pid && state !== 'Z' ? [Number(name)] : [];
      } catch {
        return [];
      }
    });
}
