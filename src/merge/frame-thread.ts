import { fileURLToPath } from 'node:url';
import type { FullSizeMeasurement, FullSizePlan } from '../rail/full-size-reading.js';
import type { SensorSpot } from '../rail/sensor-spot.js';
import type { DecodedFrame } from '../stack/decode.js';
import type { FrameFile, Stack } from '../stack/frame.js';
import type { FrameSource } from '../stack/kept-frames.js';
import { publishSpan, whereSpansAreWanted } from '../workers/spans.js';
import { CalledThread } from '../workers/thread-calls.js';
import type { FrameRows } from './engine.js';
import type { FramePlacer } from './frame-placer.js';
import type { FrameCalls, FrameThreadSetup } from './frame-worker.js';

const workerFile = fileURLToPath(new URL('../../dist/bundles/frame-worker.js', import.meta.url));

/** From so many pixels of a frame, and threads of a merge on, frames have a thread of their own. Tests set other bounds. */
export const frameThreadFrom = { pixels: 6e6, threads: 5 };

/** Whether frames are worth a thread of their own. */
export function isWorthFrameThread({ size, frames, reduced }: Stack, threads: number): boolean {
  // Raw files are developed by threads of this one, and frames of a preview are registered as they are merged.
  return (
    threads >= frameThreadFrom.threads &&
    size.width * size.height >= frameThreadFrom.pixels &&
    !reduced &&
    frames.every(({ raw }) => raw === undefined)
  );
}

/**
 * The frames of a merge on the processor, in a thread of their own: copying a frame to where kernels find it takes as long as
 * many workers take to work on it, and meanwhile they would wait for the next job from this thread. To be closed.
 */
export class FrameThread implements FrameSource, FramePlacer {
  private readonly thread = new CalledThread<FrameCalls>(workerFile);

  constructor(setup: FrameThreadSetup) {
    whereSpansAreWanted(() => this.thread.call('spans', undefined, publishSpan).catch(() => {}));
    // What fails is told to who asks for a frame.
    this.thread.call('prepare', setup).catch(() => {});
  }

  decodeAhead(files: readonly FrameFile[]): void {
    this.thread.call('decodeAhead', { files }).catch(() => {});
  }

  decode(file: FrameFile): Promise<DecodedFrame> {
    return this.thread.call('decode', { file });
  }

  /** Measures frames in full where they are decoded; undefined where that fails. */
  measureFull(plan: FullSizePlan, files: readonly FrameFile[]): Promise<FullSizeMeasurement | undefined> {
    return this.thread.call('measureFull', { plan, files }).catch(() => undefined);
  }

  findHotPixels(files: readonly FrameFile[]): Promise<SensorSpot[]> {
    return this.thread.call('hotPixels', { files });
  }

  hold(file: FrameFile, isLast: boolean): Promise<void> {
    return this.thread.call('hold', { file, isLast });
  }

  place(parts: readonly FrameRows[], file: FrameFile, hotPixels: readonly SensorSpot[]): Promise<void> {
    return this.thread.call('place', { parts, file, hotPixels });
  }

  /** An engine of the processor has no frames but those that are put in place. */
  release(): void {}

  close(): Promise<void> {
    return this.thread.close('close');
  }
}
