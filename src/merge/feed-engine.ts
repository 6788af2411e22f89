import type { SensorSpot } from '../rail/sensor-spot.js';
import type { FrameFile } from '../stack/frame.js';
import { feedFrames } from '../stack/frame-feed.js';
import type { EngineFrame, MergeEngine } from './engine.js';
import type { FramePlacer } from './frame-placer.js';

/** A frame of a pass over the stack. */
export interface FedFrame {
  file: FrameFile;
  frame: EngineFrame;
}

/** A pass over the stack. */
export interface FramePass {
  frames: readonly FedFrame[];
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
  { frames, hotPixels, isLast }: FramePass,
  placer: FramePlacer,
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
    if (isThere(frame)) placer.release(file);
    else await placer.hold(file, isLast);
  };
  for await (const fed of feedFrames(frames, decode, 1)) {
    onFrame();
    if ('error' in fed) throw fed.error;
    if (engine.slots === 1) await visiting;
    const { file, frame } = fed.item;
    if (!isThere(frame)) await placer.place(await engine.slotFor(frame.ordinal), file, hotPixels);
    await visiting;
    visiting = visit(frame).then(() => onDone(++done));
    // Told where it is awaited.
    visiting.catch(() => {});
  }
  await visiting;
}
