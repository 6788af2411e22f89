import type { Size } from '../image/image.js';
import type { SensorSpot } from '../rail/sensor-spot.js';
import type { FrameFile } from '../stack/frame.js';
import { feedFrames } from '../stack/frame-feed.js';
import type { KeptFrames } from '../stack/kept-frames.js';
import { isStored } from '../stack/stored-frame.js';
import type { EngineFrame, MergeEngine } from './engine.js';
import { placeFrame } from './place-frame.js';

/** A frame of a pass over the stack. */
export interface FedFrame {
  file: FrameFile;
  frame: EngineFrame;
}

/** A pass over the stack. */
export interface FramePass {
  frames: readonly FedFrame[];
  size: Size;
  hotPixels: readonly SensorSpot[];
  /** Nobody asks for the frames again. */
  isLast: boolean;
}

/**
 * Puts the frames of a stack in place one after the other, and has each worked on while the next is decoded.
 *
 * @param onFrame Called before each frame is put in place; throws to end the pass.
 * @param onDone Told how many frames are done.
 */
export async function feedEngine(
  engine: MergeEngine,
  { frames, size, hotPixels, isLast }: FramePass,
  kept: KeptFrames,
  visit: (frame: EngineFrame) => Promise<void>,
  onFrame: () => void,
  onDone: (done: number) => void,
): Promise<void> {
  let done = 0;
  let visiting = Promise.resolve();
  // What was sent in advance has its hot pixels.
  const isThere = ({ ordinal }: EngineFrame) =>
    engine.has?.(ordinal) === true && (isLast || hotPixels.length === 0);
  const decode = async ({ file, frame }: FedFrame) => {
    if (!isThere(frame)) return isStored(file) ? undefined : kept.decode(file, 3, isLast);
    kept.release(file);
    return undefined;
  };
  for await (const fed of feedFrames(frames, decode, 1)) {
    onFrame();
    if ('error' in fed) throw fed.error;
    if (engine.slots === 1) await visiting;
    const { file, frame } = fed.item;
    if (!isThere(frame)) {
      const slot = await engine.slotFor(frame.ordinal);
      await placeFrame(slot, size, file, fed.value?.pixels, hotPixels);
    }
    await visiting;
    visiting = visit(frame).then(() => onDone(++done));
    // Told where it is awaited.
    visiting.catch(() => {});
  }
  await visiting;
}
