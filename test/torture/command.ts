import { type ChildProcess, spawn } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { exitCodes } from '../../src/errors.js';

/** As `npm run build` has made it. */
const program = fileURLToPath(new URL('../../bin/lamella.js', import.meta.url));

/** With the allocator set as the program would set it by starting anew, which costs each start twice. */
const env = { ...process.env, GLIBC_TUNABLES: 'glibc.malloc.arena_max=1' };

/** A command that has not ended by then hangs, ms. Merges of the fixtures take a second or two of an idle core. */
const longestMs = 120_000;

/** How a command ended. */
export interface Ended {
  code: number | null;
  signal: NodeJS.Signals | null;
  stdout: string;
  stderr: string;
  /** True when it had to be ended because it hung. */
  hung: boolean;
}

export interface Running {
  child: ChildProcess;
  ended: Promise<Ended>;
  stderr: () => string;
  stdout: () => string;
}

/** Starts `lamella` with arguments; bytes stand for names that are no text. */
export function startCommand(args: readonly string[], cwd?: string): Running {
  const child = spawn(process.execPath, [program, ...args], { stdio: ['ignore', 'pipe', 'pipe'], env, cwd });
  let stdout = '';
  let stderr = '';
  child.stdout.on('data', (piece) => {
    stdout += piece;
  });
  child.stderr.on('data', (piece) => {
    stderr += piece;
  });
  const ended = new Promise<Ended>((resolve) => {
    let hung = false;
    const timer = setTimeout(() => {
      hung = true;
      child.kill('SIGKILL');
    }, longestMs);
    child.once('close', (code, signal) => {
      clearTimeout(timer);
      resolve({ code, signal, stdout, stderr, hung });
    });
  });
  return { child, ended, stderr: () => stderr, stdout: () => stdout };
}

export function runCommand(args: readonly string[], cwd?: string): Promise<Ended> {
  return startCommand(args, cwd).ended;
}

/**
 * What no command may do, whatever it was given; undefined when it did none of it.
 *
 * @param args What it was given, which it may repeat.
 */
export function misbehaviour(
  { code, signal, stdout, stderr, hung }: Ended,
  args: readonly string[],
): string | undefined {
  if (hung) return `hung for ${longestMs / 1000} s`;
  if (signal !== null) return `ended by ${signal}`;
  const said = stdout + stderr;
  if (/defect of Lamella|^\s+at .+:\d+:\d+\)?$/m.test(said)) return `a stack trace: ${excerpt(said)}`;
  const values = args
    .flatMap((arg) => [arg, arg.slice(arg.indexOf('=') + 1)])
    .filter((value) => value !== '');
  const own = values.reduce((text, value) => text.replaceAll(value, ''), stderr);
  if (/\b(undefined|NaN)\b|\[object Object\]/.test(own)) {
    return `a broken message: ${excerpt(stderr)}`;
  }
  if (!Object.values<number | null>(exitCodes).includes(code) || code === exitCodes.interrupted) {
    return `exit code ${code}`;
  }
  if (code !== 0 && said.trim() === '') return `exit code ${code} without a word`;
  return undefined;
}

function excerpt(text: string): string {
  return text.trim().slice(0, 300).replace(/\s+/g, ' ');
}
