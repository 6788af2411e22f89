import { type DetailGrid, encodedLuma, measureDetail } from '../check/detail-grid.js';
import { fitFocus } from '../check/focus-fit.js';
import { type StackTravel, stackTravel } from '../check/stack-travel.js';
import { InputError } from '../errors.js';
import { createMotionEstimator } from '../register/motion-estimator.js';
import type { MotionSolution } from '../register/motion-solution.js';
import { decodeFrame, type Shrink } from '../stack/decode.js';
import type { FrameFile, Stack } from '../stack/frame.js';
import { ChangedFrameError, refuseChangedFrames } from '../stack/frame-identity.js';
import { hashFile } from '../stack/hash-file.js';
import { feedFrames } from './frame-feed.js';
import type { MergeOptions } from './options.js';
import type { RunLog } from './run-log.js';
import { type Disc, DustSearch } from './sensor-flaws.js';

/** Least pixels of the picture that motion is measured on: a finer one places a frame no better. */
const registrationPixels = 1.2e6;

export interface Registration {
  motion: MotionSolution;
  /** Steps and shakes of the frames that can be read, in the order of `motion.frames`. */
  travel: StackTravel;
  /** Half width of the usual focus curve, usual steps; undefined when no tile tells. */
  focusWidthSteps: number | undefined;
  /** SHA-256 of each frame's file, by frame number. */
  hashes: Map<number, string>;
  /** Frames that cannot be decoded: number and reason. */
  unreadable: Map<number, string>;
  /** Dust on the sensor. */
  dust: Disc[];
}

/**
 * The first reading of a stack: motion and light of each frame, on reduced pictures, and the files' hashes.
 * A frame that cannot be decoded is left out with a warning.
 *
 * Throws InputError when a frame cannot be decoded and `strict` is set, or when fewer than two can.
 */
export async function registerStack(stack: Stack, options: MergeOptions, log: RunLog): Promise<Registration> {
  const { frames, size } = stack;
  const shrink = shrinkFor(size.width * size.height);
  const estimator = createMotionEstimator({ motion: options.motion, fullSize: size });
  const hashes = new Map<number, string>();
  const unreadable = new Map<number, string>();
  const read = async (frame: FrameFile) => {
    const [decoded, hash] = await Promise.all([decodeFrame(frame, { shrink }), hashFile(frame.path)]);
    refuseChangedFrames([frame]);
    hashes.set(frame.number, hash);
    return decoded;
  };
  const dust = new DustSearch(frames.length);
  const grids: DetailGrid[] = [];
  let done = 0;
  for await (const fed of feedFrames(frames, read, 2)) {
    log.throwIfStopped();
    const { number } = fed.item;
    if ('error' in fed) {
      const { error } = fed;
      if (!(error instanceof InputError) || error instanceof ChangedFrameError || options.strict) throw error;
      unreadable.set(number, 'damaged or unreadable');
      log.warn(`${error.message} It is left out.`);
    } else {
      const { pixels, width, height, channels, bits } = fed.value;
      const luma = encodedLuma(fed.value);
      grids.push(measureDetail(luma, width, height));
      dust.add(done, fed.value, luma);
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
  const travel = stackTravel(grids, motion.frames, size, shrink);
  const places = new Map(
    motion.frames.map(({ number, usable, matrix }) => [number, usable ? matrix : undefined]),
  );
  const { width } = fitFocus(travel.curves, travel.travel.places);
  return {
    motion,
    travel,
    focusWidthSteps: Number.isFinite(width) ? width : undefined,
    hashes,
    unreadable,
    dust: dust.found(frames.map(({ number }) => places.get(number))),
  };
}

/** The largest reduction that leaves enough pixels to register by. */
function shrinkFor(pixels: number): Shrink {
  const shrinks: Shrink[] = [8, 4, 2];
  return shrinks.find((shrink) => pixels / (shrink * shrink) >= registrationPixels) ?? 1;
}

function anchorNumber(frames: readonly FrameFile[], anchor: MergeOptions['anchor']): number {
  if (anchor === 'first') return frames[0].number;
  if (anchor === 'last') return frames.at(-1)!.number;
  if (anchor === 'middle') return frames[(frames.length - 1) >> 1].number;
  if (frames.some((frame) => frame.number === anchor)) return anchor;
  throw new InputError(
    `Frame ${anchor} cannot be the anchor: it cannot be read. Choose another with --anchor.`,
  );
}
