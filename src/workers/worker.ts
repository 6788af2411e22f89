import { parentPort, workerData } from 'node:worker_threads';
import { instantiateKernels } from '../kernels/kernels.js';
import type { JobPart, StripJob, WorkerSetup } from './pool.js';
import { clockMs } from './spans.js';

const { module, memories } = workerData as WorkerSetup;
const instances = await Promise.all(memories.map((memory) => instantiateKernels(module, memory)));
const port = parentPort!;

port.on('message', (job: StripJob) => {
  const fromMs = clockMs();
  const counter = new Int32Array(memories[0].buffer, job.counter, 1);
  let pulled = Atomics.add(counter, 0, 1);
  /** Strips of the memories before. */
  let before = 0;
  for (const [m, { args, from, count }] of job.parts.entries()) {
    const kernel = instances[m][job.kernel];
    // Strips are pulled, not dealt, so that a core that is busy decoding does not hold up the rest.
    for (; pulled < before + count; pulled = Atomics.add(counter, 0, 1)) {
      kernel(...args, from + pulled - before, job.scratch);
    }
    before += count;
  }
  const done: JobPart = { fromMs, toMs: clockMs() };
  port.postMessage(done);
});
port.postMessage('ready');
