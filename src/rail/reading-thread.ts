import { fileURLToPath } from 'node:url';
import { Worker } from 'node:worker_threads';
import { InterruptedError } from '../errors.js';
import type { PixelData, Size } from '../image/image.js';
import type { DecodedFrame, Shrink } from '../stack/decode.js';
import type { FrameFile } from '../stack/frame.js';
import { type StackEvidence, shrinkFor } from './stack-reading.js';

/** What the thread is told. */
export type ReadingOrder =
  | { add: { number: number; decoded: DecodedFrame } }
  | { finish: true }
  /** A frame in full that was asked for; absent where it could not be decoded. */
  | { full: number; decoded?: DecodedFrame };

/** What the thread answers. */
export type ReadingAnswer =
  | { added: number }
  | { want: number }
  | { evidence: Omit<StackEvidence, 'files'> }
  | { failed: string };

/** What the thread gets at its start. */
export interface ReadingSetup {
  size: Size;
  count: number;
  shrink: Shrink | undefined;
  /** That measure motion beside the thread; 0: none. */
  threads: number;
}

/** Frames that wait in the thread, at most: their pictures are copies. */
const mostWaiting = 3;

const workerFile = fileURLToPath(new URL('../../dist/rail/reading-worker.js', import.meta.url));

/**
 * A `StackReading` in a thread of its own: of a merge, which estimates its own motion beside, it is half of the work of the
 * first reading. The evidence is the same. To be closed.
 */
export class ReadingThread {
  readonly shrink: Shrink;
  private readonly worker: Worker;
  private readonly files: FrameFile[] = [];
  private waiting = 0;
  private failure: Error | undefined;
  /** Told when something has come from the thread. */
  private wake: () => void = () => {};
  private evidence: Omit<StackEvidence, 'files'> | undefined;
  private decodeFull: ((frame: FrameFile) => Promise<DecodedFrame>) | undefined;

  constructor(size: Size, count: number, shrink?: Shrink, threads = 0) {
    this.shrink = shrink ?? shrinkFor(size);
    const setup: ReadingSetup = { size, count, shrink, threads };
    this.worker = new Worker(workerFile, { workerData: setup });
    this.worker.on('message', (answer: ReadingAnswer) => this.take(answer));
    this.worker.on('error', (error: Error) => this.fail(error));
    this.worker.on('exit', () => this.fail(new Error('The thread of the first reading ended early')));
  }

  /** As `StackReading.add`; waits while the thread is frames behind. */
  async add(file: FrameFile, decoded: DecodedFrame): Promise<void> {
    this.files.push(file);
    this.waiting++;
    this.tell({ add: { number: file.number, decoded } });
    await this.until(() => this.waiting < mostWaiting);
  }

  /** As `StackReading.finish`. */
  async finish(
    decodeFull: (frame: FrameFile) => Promise<DecodedFrame>,
    signal: AbortSignal | undefined,
  ): Promise<StackEvidence> {
    this.decodeFull = decodeFull;
    this.tell({ finish: true });
    await this.until(() => this.evidence !== undefined || signal?.aborted === true, signal);
    if (!this.evidence) throw new InterruptedError();
    return { files: this.files, ...this.evidence };
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
    if ('added' in answer) this.waiting--;
    else if ('evidence' in answer) this.evidence = answer.evidence;
    else if ('failed' in answer) this.failure ??= new Error(answer.failed);
    else void this.sendFull(answer.want);
    this.wake();
  }

  private async sendFull(number: number): Promise<void> {
    const file = this.files.find((one) => one.number === number)!;
    try {
      const decoded = await this.decodeFull!(file);
      this.tell({ full: number, decoded: { ...decoded, pixels: shared(decoded.pixels) } });
    } catch {
      // Unreadable frames have been reported already.
      this.tell({ full: number });
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

/** A copy in memory that threads share: it is copied once. */
function shared(pixels: PixelData): PixelData {
  const memory = new SharedArrayBuffer(pixels.byteLength);
  const copy = pixels instanceof Uint16Array ? new Uint16Array(memory) : new Uint8Array(memory);
  copy.set(pixels);
  return copy;
}
