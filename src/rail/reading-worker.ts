import { parentPort, workerData } from 'node:worker_threads';
import type { DecodedFrame } from '../stack/decode.js';
import type { FrameFile } from '../stack/frame.js';
import type { ReadingAnswer, ReadingOrder, ReadingSetup } from './reading-thread.js';
import { StackReading } from './stack-reading.js';

const port = parentPort!;
const { size, count, shrink, threads } = workerData as ReadingSetup;
const reading = new StackReading(size, count, shrink, threads);
const wanted = new Map<number, (decoded: DecodedFrame | undefined) => void>();

function answer(message: ReadingAnswer): void {
  port.postMessage(message);
}

async function decodeFull({ number }: FrameFile): Promise<DecodedFrame> {
  const decoded = await new Promise<DecodedFrame | undefined>((resolve) => {
    wanted.set(number, resolve);
    answer({ want: number });
  });
  if (!decoded) throw new Error(`Frame ${number} cannot be read`);
  return decoded;
}

async function follow(order: ReadingOrder): Promise<void> {
  if ('add' in order) {
    const { number, decoded } = order.add;
    // Of a file the reading asks the number alone; who holds the files puts them back.
    await reading.add({ number } as FrameFile, decoded);
    answer({ added: number });
  } else if ('finish' in order) {
    const { files: _, ...evidence } = await reading.finish(decodeFull, undefined);
    answer({ evidence });
  } else {
    wanted.get(order.full)?.(order.decoded);
    wanted.delete(order.full);
  }
}

port.on('message', (order: ReadingOrder) => {
  follow(order).catch((error: Error) => answer({ failed: error.stack ?? error.message }));
});
