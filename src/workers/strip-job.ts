import type { KernelName } from '../kernels/kernels.js';

/** What a job does in one memory: strips `from` to `from + count - 1`. */
export interface StripPart {
  /** The kernel's parameters without its last two, strip and scratch. */
  args: number[];
  from: number;
  count: number;
}

/** One kernel over strips of all memories; every worker pulls strips until none are left. */
export interface StripJob {
  id: number;
  kernel: KernelName;
  /** One a memory. */
  parts: StripPart[];
  /** Its place in `jobCounters`. */
  place: number;
  /** The place of the job before, which must be done before this one begins; absent where that is known. */
  after?: number;
  scratch: number;
}

/** What a worker answers when its parts of the jobs of a message are done, one for each. */
export interface JobPart {
  fromMs: number;
  toMs: number;
}

/** Places for jobs that are under way at once: more than a frame has. */
export const jobPlaces = 64;

const countersAddress = 64;

/**
 * Counters of the jobs under way, which all threads share: at twice a job's place the next strip to pull, and behind it the
 * strips that are not done yet.
 */
export function jobCounters({ buffer }: WebAssembly.Memory): Int32Array {
  return new Int32Array(buffer, countersAddress, 2 * jobPlaces);
}
