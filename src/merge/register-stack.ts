import { InputError, named } from '../errors.js';
import { minReadingThreads, minThreadPixels } from '../model/constants/rail.js';
import type { MergeOptions } from '../options/merge-options.js';
import { readFirst, readingThreads } from '../rail/first-reading.js';
import { motionPicture, motionShape, reducedSize } from '../rail/read-frame.js';
import { type MeasureElsewhere, ReadingThread } from '../rail/reading-thread.js';
import { evidenceMotion, type StackEvidence, StackReading, shrinkFor } from '../rail/stack-reading.js';
import { sharesPairs } from '../register/motion-collector.js';
import type { MotionEstimator } from '../register/motion-estimator.js';
import type { MotionSolution } from '../register/motion-solution.js';
import { estimatorOf, type MotionThreads } from '../register/motion-threads.js';
import { averageBoxes } from '../stack/average-boxes.js';
import { type DecodedFrame, decodeFrame, type Shrink } from '../stack/decode.js';
import type { FrameFile, Stack } from '../stack/frame.js';
import { ChangedFrameError, refuseChangedFrames } from '../stack/frame-identity.js';
import { hashFile } from '../stack/hash-file.js';
import type { KeptFrames } from '../stack/kept-frames.js';
import type { RunLog } from './run-log.js';

export interface Registration {
  motion: MotionSolution;
  /** What the stack is judged by; frames in the order of `motion.frames`. */
  evidence: StackEvidence;
  /** Half width of the usual focus curve, usual steps; undefined when no tile tells. */
  focusWidthSteps: number | undefined;
  /** SHA-256 of each frame's file, by frame number. */
  hashes: Map<number, string>;
  /** Frames that cannot be decoded: number, and why as a sentence. */
  unreadable: Map<number, string>;
}

/**
 * The first reading of a stack: motion and light of each frame, on reduced pictures, the files' hashes, and the evidence
 * that the stack is judged by, as a check gathers it. A frame that cannot be decoded is left out with a warning.
 *
 * Throws InputError when a frame cannot be decoded and `strict` is set, or when fewer than two can.
 *
 * @param measureElsewhere Measures frames in full where `kept` has them decoded.
 */
export async function registerStack(
  stack: Stack,
  options: MergeOptions,
  kept: KeptFrames,
  log: RunLog,
  signal?: AbortSignal,
  measureElsewhere?: MeasureElsewhere,
): Promise<Registration> {
  const { frames, size, reduced } = stack;
  const shrink = shrinkFor(size, reduced !== undefined);
  const isLarge = size.width * size.height * frames.length >= minThreadPixels;
  // On fewer cores decoding leaves none for it.
  const isApart = isLarge && options.threads >= minReadingThreads;
  const threads = readingThreads(stack, options.threads);
  // Where the merge's motion rests on the same pairs of frames, the reading solves it as well.
  const isShared = sharesPairs(options.motion, evidenceMotion);
  const own = isShared ? undefined : estimatorOf({ motion: options.motion, fullSize: size }, threads);
  const reading = isApart
    ? new ReadingThread(size, frames.length, frames[0], shrink, threads)
    : new StackReading(size, frames.length, { shrink });
  if (reading instanceof ReadingThread) reading.measureElsewhere = measureElsewhere;
  // While the first frames are decoded.
  if (own && 'start' in own) {
    const { channels, bits } = frames[0];
    own.start(motionShape({ ...reducedSize(size, shrink), channels, bits, shrink }));
  }
  try {
    return await readStack(stack, options, own, reading, kept, log, signal);
  } finally {
    for (const one of [reading, own]) if (one && 'close' in one) await one.close();
  }
}

async function readStack(
  stack: Stack,
  options: MergeOptions,
  own: MotionEstimator | MotionThreads | undefined,
  reading: StackReading | ReadingThread,
  kept: KeptFrames,
  log: RunLog,
  signal: AbortSignal | undefined,
): Promise<Registration> {
  const { frames } = stack;
  const { shrink } = reading;
  const hashes = new Map<number, string>();
  const decodeReduced = async (frame: FrameFile): Promise<DecodedFrame> => {
    if (shrink > 1 && !stack.reduced) return decodeFrame(frame, { shrink });
    // What a preview has decoded it merges, too.
    const whole = await kept.decode(frame);
    return shrink === 1 ? whole : reduceFrame(whole, shrink);
  };
  const read = async (frame: FrameFile) => {
    // This reading needs the cores no longer, and while the motion is solved they would wait.
    if (frame === frames.at(-1) && shrink > 1) kept.decodeAhead(frames);
    const [reduced, hash] = await Promise.all([decodeReduced(frame), hashFile(frame.path)]);
    refuseChangedFrames([frame]);
    hashes.set(frame.number, hash);
    return { reduced };
  };
  let solving: Promise<MotionSolution> | undefined;
  const { evidence, motion, unreadable } = await readFirst(stack, reading, {
    read,
    wantMotion: (unread) => {
      const readable = frames.filter((frame) => !unread.has(frame.number));
      const anchor = anchorNumber(readable, options.anchor);
      if (!own) return { anchorNumber: anchor, model: options.motion };
      solving = own.solveInParts(anchor);
      // Told where it is awaited.
      solving.catch(() => {});
      return undefined;
    },
    decodeFull: (frame) => kept.decode(frame),
    onFrame: ({ number }, { reduced }) => own?.add(motionPicture(number, reduced)),
    onUnreadable: (_, error) => {
      if (error instanceof ChangedFrameError || options.strict) throw error;
      log.warn(`${error.message} It is left out.`);
    },
    onProgress: (done, count) => log.progress(done, count),
    signal,
  });
  const { width } = evidence.fit;
  return {
    motion: solving ? await solving : motion,
    evidence,
    focusWidthSteps: Number.isFinite(width) ? width : undefined,
    hashes,
    unreadable,
  };
}

/** A frame of a preview by the means of blocks. */
function reduceFrame({ pixels, width, height, channels, bits }: DecodedFrame, shrink: Shrink): DecodedFrame {
  return {
    pixels: averageBoxes(pixels, width, height, channels, shrink),
    width: Math.floor(width / shrink),
    height: Math.floor(height / shrink),
    channels,
    bits,
    shrink,
  };
}

/** The frame that is to be the anchor, by its number. */
export function anchorNumber(frames: readonly FrameFile[], anchor: MergeOptions['anchor']): number {
  if (anchor === 'first') return frames[0].number;
  if (anchor === 'last') return frames.at(-1)!.number;
  if (anchor === 'middle') return frames[(frames.length - 1) >> 1].number;
  if (frames.some((frame) => frame.number === anchor)) return anchor;
  throw new InputError(
    `Frame ${anchor} cannot be the anchor: it cannot be read. Choose another with ${named('anchor')}.`,
  );
}
