import { InputError, named } from '../errors.js';
import type { MergeOptions } from '../options/merge-options.js';
import { readFirst } from '../rail/first-reading.js';
import { type StackEvidence, StackReading } from '../rail/stack-reading.js';
import { createMotionEstimator } from '../register/motion-estimator.js';
import type { MotionSolution } from '../register/motion-solution.js';
import { decodeFrame } from '../stack/decode.js';
import type { FrameFile, Stack } from '../stack/frame.js';
import { ChangedFrameError, refuseChangedFrames } from '../stack/frame-identity.js';
import { hashFile } from '../stack/hash-file.js';
import type { KeptFrames } from '../stack/kept-frames.js';
import { registrationShrink } from './registration-shrink.js';
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
 */
export async function registerStack(
  stack: Stack,
  options: MergeOptions,
  kept: KeptFrames,
  log: RunLog,
  signal?: AbortSignal,
): Promise<Registration> {
  const { frames, size } = stack;
  const shrink = registrationShrink(size);
  const estimator = createMotionEstimator({ motion: options.motion, fullSize: size });
  const reading = new StackReading(size, frames.length);
  const hashes = new Map<number, string>();
  const read = async (frame: FrameFile) => {
    // The pictures to register by are softer than those of a check where a JPEG is reduced while it is decoded.
    const isAlike = reading.shrink === shrink && (shrink === 1 || frame.format !== 'jpeg');
    const [decoded, quick, hash] = await Promise.all([
      shrink === 1 ? kept.decode(frame) : decodeFrame(frame, { shrink }),
      isAlike ? undefined : decodeFrame(frame, { shrink: reading.shrink, quick: true }),
      hashFile(frame.path),
    ]);
    refuseChangedFrames([frame]);
    hashes.set(frame.number, hash);
    return { decoded, quick: quick ?? decoded };
  };
  const { evidence, unreadable } = await readFirst(stack, reading, {
    read,
    decodeFull: (frame) => kept.decode(frame),
    onFrame: ({ number }, { decoded }) => {
      const { pixels, width, height, channels, bits } = decoded;
      estimator.add({ number, pixels, width, height, channels, bits, factorX: shrink, factorY: shrink });
    },
    onUnreadable: (_, error) => {
      if (error instanceof ChangedFrameError || options.strict) throw error;
      log.warn(`${error.message} It is left out.`);
    },
    onProgress: (done, count) => log.progress(done, count),
    signal,
  });
  const readable = frames.filter((frame) => !unreadable.has(frame.number));
  const motion = estimator.solve(anchorNumber(readable, options.anchor));
  const { width } = evidence.fit;
  return {
    motion,
    evidence,
    focusWidthSteps: Number.isFinite(width) ? width : undefined,
    hashes,
    unreadable,
  };
}

function anchorNumber(frames: readonly FrameFile[], anchor: MergeOptions['anchor']): number {
  if (anchor === 'first') return frames[0].number;
  if (anchor === 'last') return frames.at(-1)!.number;
  if (anchor === 'middle') return frames[(frames.length - 1) >> 1].number;
  if (frames.some((frame) => frame.number === anchor)) return anchor;
  throw new InputError(
    `Frame ${anchor} cannot be the anchor: it cannot be read. Choose another with ${named('anchor')}.`,
  );
}
