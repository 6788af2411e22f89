import { createRequire } from 'node:module';
import { availableParallelism } from 'node:os';

/** Commands that decode frames by the dozen. */
const decodingCommands = new Set([
  'desk',
  'merge',
  'check',
  'batch',
  'worker',
  'mend',
  'trace',
  'view',
  'export',
  'relief',
]);

/**
 * Settings of a process that decodes frames by the dozen, which are read at its start. Its allocator: one arena that keeps
 * what is freed. By default glibc gets every decoded frame from the system and gives it back: touching 72 MB of fresh pages
 * costs more than decoding a 24-megapixel JPEG into them. Not on huge pages: a virtual machine that gives free ones back to
 * its host pays five times as much for a byte of them as for one of small pages, and elsewhere what is touched once saves
 * hardly anything. Its threads to decode in, those of libuv: one a core, but no fewer than the default.
 */
export const decodingSettings = {
  GLIBC_TUNABLES: [
    'glibc.malloc.arena_max=1',
    'glibc.malloc.mmap_max=0',
    'glibc.malloc.trim_threshold=8589934592',
  ].join(':'),
  UV_THREADPOOL_SIZE: String(Math.min(16, Math.max(4, availableParallelism()))),
};
const closeOnExec = 2; // F_SETFD of <fcntl.h>

/**
 * Starts this process anew, in place (same process number, same terminal), with `decodingSettings`. Returns when there is
 * nothing to do: settings in place, another command, or a system without glibc, where the program runs as it is.
 */
export async function reuseMemory(command: string | undefined): Promise<void> {
  const given = process.env.GLIBC_TUNABLES;
  if (process.platform !== 'linux' || !decodingCommands.has(command ?? 'desk')) return;
  if (given?.includes('glibc.malloc.')) return;
  try {
    // By `import` its text would be read twice.
    const koffi: typeof import('koffi') = createRequire(import.meta.url)('koffi');
    const libc = koffi.load('libc.so.6');
    const fcntl = libc.func('int fcntl(int fd, int command, ...)');
    const execve = libc.func('int execve(const char *path, const char **argv, const char **envp)');
    // Node closes its standard streams on exec.
    for (const stream of [0, 1, 2]) fcntl(stream, closeOnExec, 'int', 0);
    const { GLIBC_TUNABLES } = decodingSettings;
    const environment = {
      ...decodingSettings,
      ...process.env,
      GLIBC_TUNABLES: given ? `${given}:${GLIBC_TUNABLES}` : GLIBC_TUNABLES,
    };
    execve(
      process.execPath,
      [process.execPath, ...process.execArgv, ...process.argv.slice(1), null],
      [...Object.entries(environment).map(([name, value]) => `${name}=${value}`), null],
    );
  } catch {
    // Without the bindings or glibc: slower, but nothing else.
  }
}
