import type { Size } from '../image/image.js';
import type { SensorSpot } from '../rail/sensor-spot.js';
import type { FrameFile } from '../stack/frame.js';
import { KeptFrames } from '../stack/kept-frames.js';
import { serveCalls } from '../workers/thread-calls.js';
import type { FrameRows } from './engine.js';
import { frameCalls } from './frame-calls.js';
import { type FramePlacer, placerOf } from './frame-placer.js';

// Decodes frames, keeps them and puts them in place, in a thread of its own.

let kept: KeptFrames;
let placer: FramePlacer;

/** What is the same for all frames. */
export interface FrameThreadSetup {
  size: Size;
  /** Bytes of frames that may be kept. */
  room: number;
  /** Frames that are decoded ahead at once. */
  atOnce: number;
}

const calls = {
  ...frameCalls(() => kept),

  prepare({ size, room, atOnce }: FrameThreadSetup): void {
    kept = new KeptFrames(room, atOnce);
    placer = placerOf(kept, size);
  },

  hold({ file, isLast }: { file: FrameFile; isLast: boolean }): Promise<void> {
    return placer.hold(file, isLast);
  },

  place({
    parts,
    file,
    hotPixels,
  }: {
    parts: readonly FrameRows[];
    file: FrameFile;
    hotPixels: readonly SensorSpot[];
  }): Promise<void> {
    return placer.place(parts, file, hotPixels);
  },

  close(): void {
    kept?.close();
    process.exit();
  },
};

export type FrameCalls = typeof calls;

serveCalls(calls);
