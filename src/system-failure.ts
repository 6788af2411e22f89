import { tmpdir } from 'node:os';
import { named, SystemError, type SystemFault } from './errors.js';

/** A failure of the machine, by what the error says: any of these signs, in the error or in one that caused it. */
interface Sign {
  fault: SystemFault;
  codes?: readonly string[];
  text?: RegExp;
  advice: (error: Error) => string;
}

const freeMemory = `close other programs, use fewer ${named('threads')}, or merge smaller pictures`;

/** The first that fits counts. */
const signs: readonly Sign[] = [
  {
    fault: 'working-folder',
    text: /uv_cwd|getcwd/,
    advice: () =>
      'The folder that this program was started in no longer exists: change to another one, and run it again there.',
  },
  {
    fault: 'open-files',
    codes: ['EMFILE', 'ENFILE'],
    text: /too many open files/i,
    advice: () =>
      'Too many files are open at once: allow more with "ulimit -n 1024", or end programs that hold many.',
  },
  {
    fault: 'address-space',
    text: /WebAssembly\.(Memory|Instance|compile|instantiate)\b.*(allocate|memory)|wasm memory/i,
    advice: () =>
      'The address space for the working memory cannot be reserved, some 30 GB of it for every merge, whatever of it is used: raise its limit with "ulimit -v unlimited".',
  },
  {
    fault: 'worker-memory',
    codes: ['ERR_WORKER_OUT_OF_MEMORY'],
    advice: () => `A thread that computes ran out of memory: ${freeMemory}.`,
  },
  {
    fault: 'threads',
    codes: ['ERR_WORKER_INIT_FAILED'],
    text: /(create|start|spawn).{0,20}thread|pthread_create/i,
    advice: () =>
      `The system starts no more threads: use fewer ${named('threads')}, or raise the limits of processes and address space ("ulimit -u", "ulimit -v").`,
  },
  {
    fault: 'temporary-folder',
    text: /unable to (make|open|create) temporary|mkdtemp|vips__?temp/i,
    advice: () =>
      `Temporary files cannot be written into "${tmpdir()}": make that folder, or name another one in the variable TMPDIR.`,
  },
  {
    fault: 'memory',
    codes: ['ENOMEM', 'ERR_MEMORY_ALLOCATION_FAILED'],
    text: /out of memory|(array buffer|memory) allocation failed|cannot allocate memory|std::bad_alloc/i,
    advice: () => `There is not enough memory: ${freeMemory}.`,
  },
];

/** Longest chain of causes that is followed. */
const mostCauses = 5;

/** What the machine denied, when that is what an error comes from; undefined otherwise. */
export function systemFailureOf(error: unknown): SystemError | undefined {
  if (error instanceof SystemError) return error;
  let cause = error;
  for (let depth = 0; depth < mostCauses && cause instanceof Error; depth++, cause = cause.cause) {
    const code = 'code' in cause ? String(cause.code) : '';
    const { message } = cause;
    const sign = signs.find(({ codes, text }) => codes?.includes(code) || text?.test(message));
    if (sign) return new SystemError(sign.fault, sign.advice(cause), { cause: error });
  }
  return undefined;
}

/** The error to throw in the place of one that was caught: what the machine denied, where it did, else the same. */
export function nameSystemFailure(error: unknown): unknown {
  return systemFailureOf(error) ?? error;
}
