import { parentPort, workerData } from 'node:worker_threads';
import { instantiateKernels } from '../kernels/kernels.js';
import type { WorkerSetup } from './pool.js';
import { clockMs } from './spans.js';
import { type JobPart, jobCounters, type StripJob } from './strip-job.js';

const { module, memories } = workerData as WorkerSetup;
const instances = await Promise.all(memories.map((memory) => instantiateKernels(module, memory)));
const port = parentPort!;

port.on('message', (jobs: StripJob[]) => port.postMessage(jobs.map(doPart)));

/** Does this worker's part of a job. */
function doPart(job: StripJob): JobPart {
  const counters = jobCounters(memories[0]);
  if (job.after !== undefined) waitUntilDone(counters, 2 * job.after + 1);
  const fromMs = clockMs();
  const next = 2 * job.place;
  let pulled = Atomics.add(counters, next, 1);
  /** Strips of the memories before. */
  let before = 0;
  for (const [m, { args, from, count }] of job.parts.entries()) {
    const kernel = instances[m][job.kernel];
    // Strips are pulled, not dealt, so that a core that is busy decoding does not hold up the rest.
    for (; pulled < before + count; pulled = Atomics.add(counters, next, 1)) {
      kernel(...args, from + pulled - before, job.scratch);
      if (Atomics.sub(counters, next + 1, 1) === 1) Atomics.notify(counters, next + 1);
    }
    before += count;
  }
  return { fromMs, toMs: clockMs() };
}

/** Waits for the strips that are not done yet, which other workers are at. */
function waitUntilDone(counters: Int32Array, at: number): void {
  for (let left = Atomics.load(counters, at); left > 0; left = Atomics.load(counters, at)) {
    Atomics.wait(counters, at, left);
  }
}
port.postMessage('ready');
