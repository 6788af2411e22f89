import { parentPort, workerData } from 'node:worker_threads';
import { instantiateKernels } from '../kernels/kernels.js';
import type { JobPart, StripJob, WorkerSetup } from './pool.js';
import { clockMs } from './spans.js';

const { module, memory } = workerData as WorkerSetup;
const kernels = await instantiateKernels(module, memory);
const port = parentPort!;

port.on('message', (job: StripJob) => {
  const fromMs = clockMs();
  const kernel = kernels[job.kernel];
  const counter = new Int32Array(memory.buffer, job.counter, 1);
  // Strips are pulled, not dealt, so that a core that is busy decoding does not hold up the rest.
  for (let strip = Atomics.add(counter, 0, 1); strip < job.strips; strip = Atomics.add(counter, 0, 1)) {
    kernel(...job.args, strip, job.scratch);
  }
  const done: JobPart = { fromMs, toMs: clockMs() };
  port.postMessage(done);
});
port.postMessage('ready');
