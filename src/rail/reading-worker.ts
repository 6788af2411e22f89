import { parentPort, workerData } from 'node:worker_threads';
import type { FrameFile } from '../stack/frame.js';
import type { FullSizeMeasurement, FullSizePlan } from './full-size-reading.js';
import type { ReadingAnswer, ReadingOrder, ReadingSetup } from './reading-thread.js';
import { StackReading } from './stack-reading.js';

const port = parentPort!;
const { size, count, shrink, threads, type } = workerData as ReadingSetup;
const reading = new StackReading(size, count, { shrink, threads });
// While the first frames are decoded.
reading.start(type);
let takeFull: (measured: FullSizeMeasurement) => void = () => {};

function answer(message: ReadingAnswer): void {
  port.postMessage(message);
}

function readFull(plan: FullSizePlan): Promise<FullSizeMeasurement> {
  return new Promise((resolve) => {
    takeFull = resolve;
    answer({ plan });
  });
}

async function follow(order: ReadingOrder): Promise<void> {
  if ('add' in order) {
    const { number, decoded } = order.add;
    // Of a file the reading asks the number alone; who holds the files puts them back.
    await reading.add({ number } as FrameFile, decoded);
    answer({ added: number });
  } else if ('finish' in order) {
    const { evidence, motion } = await reading.finishBy(readFull, order.finish);
    const { files: _, ...found } = evidence;
    answer({ found: { evidence: found, motion } });
  } else takeFull(order.measured);
}

port.on('message', (order: ReadingOrder) => {
  follow(order).catch((error: Error) => answer({ failed: error.stack ?? error.message }));
});
