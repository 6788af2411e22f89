import type { Size } from '../image/image.js';
import type { SensorSpot } from '../rail/sensor-spot.js';
import type { DecodedFrame } from '../stack/decode.js';
import type { FrameFile } from '../stack/frame.js';
import type { KeptFrames } from '../stack/kept-frames.js';
import { isStored } from '../stack/stored-frame.js';
import type { FrameRows } from './engine.js';
import { placeFrame } from './place-frame.js';

/** Puts decoded frames where an engine works on them. */
export interface FramePlacer {
  /**
   * Has a frame decoded, and holds it until it is put in place.
   *
   * @param isLast Nobody asks for this frame again.
   */
  hold(file: FrameFile, isLast: boolean): Promise<void>;
  /** Puts a frame that is held into the parts of a slot, and repairs its hot pixels there. */
  place(parts: readonly FrameRows[], file: FrameFile, hotPixels: readonly SensorSpot[]): Promise<void>;
  /** Gives a frame back that nobody asks for again. */
  release(file: FrameFile): void;
}

/** A placer that does it in this thread. */
export function placerOf(kept: KeptFrames, size: Size): FramePlacer {
  const held = new Map<number, DecodedFrame>();
  return {
    async hold(file, isLast) {
      if (!isStored(file)) held.set(file.number, await kept.decode(file, 3, isLast));
    },
    async place(parts, file, hotPixels) {
      const pixels = held.get(file.number)?.pixels;
      held.delete(file.number);
      await placeFrame(parts, size, file, pixels, hotPixels);
    },
    release: (file) => kept.release(file),
  };
}
