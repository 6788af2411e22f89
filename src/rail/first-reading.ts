import { InputError, InterruptedError } from '../errors.js';
import { minThreadPixels } from '../model/constants/rail.js';
import { motionThreads } from '../register/motion-threads.js';
import { type DecodedFrame, decodeFrame } from '../stack/decode.js';
import { decodeThreads } from '../stack/decode-threads.js';
import type { FrameFile, Stack } from '../stack/frame.js';
import { feedFrames } from '../stack/frame-feed.js';
import { rawWorkers } from '../stack/raw/raw-workers.js';
import type { ReadingThread } from './reading-thread.js';
import type { FinishedReading, MotionRequest, StackReading } from './stack-reading.js';

/** Frames that are decoded ahead of the one in work, at least. */
const framesAhead = 2;
/** Tasks of a frame: its reduced picture, and the hash of its file. */
const tasksPerFrame = 2;
/** Sides that this divides can be reduced by any factor. */
const maxShrink = 8;

/** What is read of one frame at the first reading. */
export interface FrameReading {
  /** The frame at the reduction that the evidence asks for. */
  reduced: DecodedFrame;
}

/** What a caller takes from the first reading beside the evidence, and how it follows and stops it. */
export interface FirstReadingHooks<Read extends FrameReading> {
  /** Decodes a frame; beside `reduced` it may read what else the caller needs of the file. */
  read: (frame: FrameFile) => Promise<Read>;
  /** Decodes a frame in full, where the evidence asks for that. Default: `decodeFrame`. */
  decodeFull?: (frame: FrameFile) => Promise<DecodedFrame>;
  /** Called once all frames are read, before the evidence is made of them. Returns a motion that is to be solved as well. */
  wantMotion?: (unreadable: ReadonlyMap<number, string>) => MotionRequest | undefined;
  /** Called after each frame that could be read. The next is handed on once this is done. */
  onFrame?: (frame: FrameFile, read: Read) => void | Promise<void>;
  /** Called for each frame that cannot be decoded; throws to end the reading. */
  onUnreadable?: (frame: FrameFile, error: InputError) => void;
  onProgress?: ((done: number, frames: number) => void) | undefined;
  signal?: AbortSignal | undefined;
}

/** What the first reading finds. */
export interface FirstReadingResult extends FinishedReading {
  /** Frames that cannot be decoded: number, and why as a sentence. */
  unreadable: Map<number, string>;
}

/**
 * The first reading of a stack, for a check and a merge alike: every frame once, reduced, and a few in full.
 *
 * @throws InputError when fewer than two frames can be decoded; InterruptedError.
 */
export async function readFirst<Read extends FrameReading>(
  { folder, frames }: Stack,
  reading: StackReading | ReadingThread,
  hooks: FirstReadingHooks<Read>,
): Promise<FirstReadingResult> {
  const { read, decodeFull = decodeFrame, wantMotion, onFrame, onUnreadable, onProgress, signal } = hooks;
  const unreadable = new Map<number, string>();
  let done = 0;
  const ahead = readAhead(frames);
  for await (const fed of feedFrames(frames, read, ahead)) {
    if (signal?.aborted) throw new InterruptedError();
    const frame = fed.item;
    if ('error' in fed) {
      if (!(fed.error instanceof InputError)) throw fed.error;
      onUnreadable?.(frame, fed.error);
      unreadable.set(frame.number, fed.error.message);
    } else {
      await reading.add(frame, fed.value.reduced);
      await onFrame?.(frame, fed.value);
    }
    onProgress?.(++done, frames.length);
  }
  const readable = frames.length - unreadable.size;
  if (readable < 2) {
    const [why] = unreadable.values();
    throw new InputError(
      `Only ${readable} of ${frames.length} frames in "${folder}" can be read, where a stack needs at least two. ${why}`,
    );
  }
  const found = await reading.finish(decodeFull, signal, wantMotion?.(unreadable));
  return { ...found, unreadable };
}

/** Frames to decode ahead: where a JPEG can be reduced while it is decoded, so many that all threads have work. */
function readAhead(frames: readonly FrameFile[]): number {
  if (frames.some(({ raw }) => raw)) return rawWorkers.atOnce;
  const isReduced = frames.every(
    ({ format, size, reduced }) =>
      format === 'jpeg' && !reduced && size.width % maxShrink === 0 && size.height % maxShrink === 0,
  );
  return isReduced ? Math.max(framesAhead, Math.floor(decodeThreads / tasksPerFrame)) : framesAhead;
}

/**
 * Threads that read frames and measure their motion beside the one that asks, of a stack that is large enough for them.
 *
 * @param threads Of all work.
 */
export function readingThreads({ size, frames }: Pick<Stack, 'size' | 'frames'>, threads: number): number {
  return size.width * size.height * frames.length >= minThreadPixels ? motionThreads(threads) : 0;
}

/** Decodes a frame for the evidence alone. */
export async function readQuick(frame: FrameFile, { shrink }: StackReading): Promise<FrameReading> {
  return { reduced: await decodeFrame(frame, { shrink }) };
}
