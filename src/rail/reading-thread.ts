import { fileURLToPath } from 'node:url';
import { Worker } from 'node:worker_threads';
import { InterruptedError } from '../errors.js';
import type { Size } from '../image/image.js';
import type { DecodedFrame, Shrink } from '../stack/decode.js';
import type { FrameFile } from '../stack/frame.js';
import { type FullSizeMeasurement, type FullSizePlan, measureFullSize } from './full-size-reading.js';
import { type FinishedReading, type MotionRequest, type StackEvidence, shrinkFor } from './stack-reading.js';

/** What the thread is told. */
export type ReadingOrder =
  /** The next frame, its pixels in shared memory. */
  | { add: { number: number; decoded: DecodedFrame } }
  /** With the motion that is wanted beside the evidence. */
  | { finish: MotionRequest | undefined }
  /** What was measured by the plan. */
  | { measured: FullSizeMeasurement };

/** What the thread finds: of files it knows the numbers alone. */
interface FoundInThread extends Omit<FinishedReading, 'evidence'> {
  evidence: Omit<StackEvidence, 'files'>;
}

/** What the thread answers. */
export type ReadingAnswer =
  /** A frame whose pixels it needs no longer. */
  | { added: number }
  /** What is to be measured in frames in full, where they are. */
  | { plan: FullSizePlan }
  | { found: FoundInThread }
  | { failed: string };

/** Measures the frames of a plan, of these files. */
export type MeasureElsewhere = (
  plan: FullSizePlan,
  files: readonly FrameFile[],
) => Promise<FullSizeMeasurement | undefined> | undefined;

/** What the thread gets at its start. */
export interface ReadingSetup {
  size: Size;
  count: number;
  shrink: Shrink | undefined;
  /** That read frames and measure motion beside the thread; 0: none. */
  threads: number;
  /** Type of the frames. */
  type: Pick<DecodedFrame, 'channels' | 'bits'>;
}

/** Frames that wait, at most, beside those that threads have in work. */
const mostWaiting = 2;

const workerFile = fileURLToPath(new URL('../../dist/bundles/reading-worker.js', import.meta.url));

/**
 * A `StackReading` in a thread of its own: the merge's own thread is then free to take decoded frames. Results are the same. To
 * be closed.
 */
export class ReadingThread {
  readonly shrink: Shrink;
  private readonly worker: Worker;
  private readonly files: FrameFile[] = [];
  /** Memory for the pixels of a frame that no frame uses, and of those by number that do. */
  private readonly spare: SharedArrayBuffer[] = [];
  private readonly used = new Map<number, SharedArrayBuffer>();
  private readonly mostUsed: number;
  private failure: Error | undefined;
  /** Told when something has come from the thread. */
  private wake: () => void = () => {};
  private found: FoundInThread | undefined;
  private measureFull: ((plan: FullSizePlan) => Promise<FullSizeMeasurement>) | undefined;
  /** Measures frames in full where they are decoded, if that is not in this thread; undefined where it cannot. */
  measureElsewhere: MeasureElsewhere | undefined;

  /** @param type Of the frames. */
  constructor(
    size: Size,
    count: number,
    { channels, bits }: ReadingSetup['type'],
    shrink?: Shrink,
    threads = 0,
  ) {
    this.shrink = shrink ?? shrinkFor(size);
    this.mostUsed = mostWaiting + Math.max(1, threads);
    const setup: ReadingSetup = { size, count, shrink, threads, type: { channels, bits } };
    this.worker = new Worker(workerFile, { workerData: setup });
    this.worker.on('message', (answer: ReadingAnswer) => this.take(answer));
    this.worker.on('error', (error: Error) => this.fail(error));
    this.worker.on('exit', () => this.fail(new Error('The thread of the first reading ended early')));
  }

  /** As `StackReading.add`; waits while the thread is frames behind. */
  async add(file: FrameFile, decoded: DecodedFrame): Promise<void> {
    this.files.push(file);
    const { pixels } = decoded;
    const memory = this.spare.pop();
    const enough = memory && memory.byteLength >= pixels.byteLength;
    const shared = enough ? memory : new SharedArrayBuffer(pixels.byteLength);
    this.used.set(file.number, shared);
    const copy =
      pixels instanceof Uint16Array
        ? new Uint16Array(shared, 0, pixels.length)
        : new Uint8Array(shared, 0, pixels.length);
    copy.set(pixels);
    this.tell({ add: { number: file.number, decoded: { ...decoded, pixels: copy } } });
    await this.until(() => this.used.size < this.mostUsed);
  }

  /** As `StackReading.finish`. */
  async finish(
    decodeFull: (frame: FrameFile) => Promise<DecodedFrame>,
    signal: AbortSignal | undefined,
    wanted?: MotionRequest,
  ): Promise<FinishedReading> {
    this.measureFull = async (plan) =>
      (await this.measureElsewhere?.(plan, this.files)) ??
      measureFullSize(plan, (k) => decodeFull(this.files[k]), signal);
    this.tell({ finish: wanted });
    await this.until(() => this.found !== undefined || signal?.aborted === true, signal);
    if (!this.found) throw new InterruptedError();
    return { ...this.found, evidence: { files: this.files, ...this.found.evidence } };
  }

  /** Ends the thread, whatever it is at. */
  async close(): Promise<void> {
    this.worker.removeAllListeners('exit');
    await this.worker.terminate();
  }

  private tell(order: ReadingOrder): void {
    this.worker.postMessage(order);
  }

  private take(answer: ReadingAnswer): void {
    if ('added' in answer) this.free(answer.added);
    else if ('found' in answer) this.found = answer.found;
    else if ('failed' in answer) this.failure ??= new Error(answer.failed);
    else void this.sendFull(answer.plan);
    this.wake();
  }

  private free(number: number): void {
    this.spare.push(this.used.get(number)!);
    this.used.delete(number);
  }

  private async sendFull(plan: FullSizePlan): Promise<void> {
    try {
      this.tell({ measured: await this.measureFull!(plan) });
    } catch (error) {
      this.fail(error as Error);
    }
  }

  private fail(error: Error): void {
    this.failure ??= error;
    this.wake();
  }

  private async until(isSo: () => boolean, signal?: AbortSignal): Promise<void> {
    const stop = () => this.wake();
    signal?.addEventListener('abort', stop);
    try {
      while (!isSo()) {
        if (this.failure) throw this.failure;
        await new Promise<void>((resolve) => {
          this.wake = resolve;
        });
      }
      if (this.failure) throw this.failure;
    } finally {
      signal?.removeEventListener('abort', stop);
    }
  }
}
