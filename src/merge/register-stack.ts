import { encodedLuma } from '../check/detail-grid.js';
import { type StackEvidence, StackReading } from '../check/stack-reading.js';
import { InputError, named } from '../errors.js';
import type { MergeOptions } from '../options/merge-options.js';
import { createMotionEstimator } from '../register/motion-estimator.js';
import type { MotionSolution } from '../register/motion-solution.js';
import { decodeFrame } from '../stack/decode.js';
import type { FrameFile, Stack } from '../stack/frame.js';
import { feedFrames } from '../stack/frame-feed.js';
import { ChangedFrameError, refuseChangedFrames } from '../stack/frame-identity.js';
import { hashFile } from '../stack/hash-file.js';
import { registrationShrink } from './registration-shrink.js';
import type { RunLog } from './run-log.js';
import { type Disc, DustSearch } from './sensor-flaws.js';

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
  /** Dust on the sensor. */
  dust: Disc[];
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
  log: RunLog,
  signal?: AbortSignal,
): Promise<Registration> {
  const { frames, size } = stack;
  const shrink = registrationShrink(size);
  const estimator = createMotionEstimator({ motion: options.motion, fullSize: size });
  const reading = new StackReading(size, frames.length);
  const hashes = new Map<number, string>();
  const unreadable = new Map<number, string>();
  const read = async (frame: FrameFile) => {
    // The pictures to register by are softer than those of a check where a JPEG is reduced while it is decoded.
    const isAlike = reading.shrink === shrink && (shrink === 1 || frame.format !== 'jpeg');
    const [decoded, quick, hash] = await Promise.all([
      decodeFrame(frame, { shrink }),
      isAlike ? undefined : decodeFrame(frame, { shrink: reading.shrink, quick: true }),
      hashFile(frame.path),
    ]);
    refuseChangedFrames([frame]);
    hashes.set(frame.number, hash);
    return { decoded, quick: quick ?? decoded };
  };
  const dust = new DustSearch(frames.length);
  let done = 0;
  for await (const fed of feedFrames(frames, read, 2)) {
    log.throwIfStopped();
    const { number } = fed.item;
    if ('error' in fed) {
      const { error } = fed;
      if (!(error instanceof InputError) || error instanceof ChangedFrameError || options.strict) throw error;
      unreadable.set(number, error.message);
      log.warn(`${error.message} It is left out.`);
    } else {
      const { decoded, quick } = fed.value;
      const { pixels, width, height, channels, bits } = decoded;
      dust.add(done, decoded, encodedLuma(decoded));
      reading.add(fed.item, quick);
      estimator.add({ number, pixels, width, height, channels, bits, factorX: shrink, factorY: shrink });
    }
    log.progress(++done, frames.length);
  }
  const readable = frames.filter((frame) => !unreadable.has(frame.number));
  if (readable.length < 2) {
    throw new InputError(
      `Only ${readable.length} of ${frames.length} frames in "${stack.folder}" can be read: a stack needs at least two. Copy the photographs again from the card.`,
    );
  }
  const motion = estimator.solve(anchorNumber(readable, options.anchor));
  const evidence = await reading.finish(signal);
  const places = new Map(
    motion.frames.map(({ number, usable, matrix }) => [number, usable ? matrix : undefined]),
  );
  const { width } = evidence.fit;
  return {
    motion,
    evidence,
    focusWidthSteps: Number.isFinite(width) ? width : undefined,
    hashes,
    unreadable,
    dust: dust.found(frames.map(({ number }) => places.get(number))),
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
