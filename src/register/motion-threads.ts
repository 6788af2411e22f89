import { fileURLToPath } from 'node:url';
import { keptFrames, maxMotionThreads, minParallelThreads } from '../model/constants/register.js';
import type { MotionModel } from '../options/motion-model.js';
import { TaskPool } from '../workers/task-pool.js';
import {
  type FrameMeasurement,
  FrameMeter,
  type FrameShape,
  layMotion,
  type MotionLayout,
  type SlotFrame,
} from './frame-meter.js';
import {
  checkShape,
  type LinkedPair,
  linkFrame,
  MotionCollector,
  type MotionEstimatorOptions,
} from './motion-collector.js';
import { createMotionEstimator, type MotionEstimator } from './motion-estimator.js';
import type { MotionSolution } from './motion-solution.js';
import type { MotionTasks } from './motion-tasks.js';
import type { PairMeasurement } from './pair-motion.js';
import type { ReducedFrame } from './reduced-frame.js';

/** Starts the threads, given where they measure. */
export type StartMotion = (
  layout: MotionLayout,
  threads: number,
) => Pick<TaskPool<MotionTasks>, 'run' | 'close'>;

const startMotion: StartMotion = (layout, threads) =>
  new TaskPool<MotionTasks>(
    fileURLToPath(new URL('../../dist/bundles/motion-worker.js', import.meta.url)),
    { layout },
    threads,
  );

/** Threads of their own that measure motion where a merge has so many; 0: none. */
export function motionThreads(threads: number): number {
  return threads >= minParallelThreads ? Math.min(maxMotionThreads, threads >> 1) : 0;
}

/** What estimates motion, in so many threads or, for 0, in this one: the same result. */
export function estimatorOf(
  options: MotionEstimatorOptions,
  threads: number,
  start?: StartMotion,
): MotionEstimator | MotionThreads {
  return threads > 0 ? new MotionThreads(options, threads, start) : createMotionEstimator(options);
}

/** A frame that is being measured. */
interface FrameUnderWay {
  slot: number;
  measured: Promise<FrameMeasurement>;
  /** Its pair with the frame before it, where one is measured. */
  adjacent: Promise<PairMeasurement | undefined>;
  /** Done when it and all before it are measured and linked, and its slot is needed by later frames alone. */
  taken: Promise<void>;
}

/**
 * Estimates motion and gain of a stack as `createMotionEstimator` does, in threads: frames are measured and pairs compared side
 * by side, and the result is the same. To be closed.
 */
export class MotionThreads {
  readonly #options: MotionEstimatorOptions;
  readonly #threads: number;
  readonly #startThreads: StartMotion;
  readonly #collector: MotionCollector;
  readonly #frames: FrameUnderWay[] = [];
  #layout: MotionLayout | undefined;
  /** Compares whole pictures, in this thread. */
  #meter: FrameMeter | undefined;
  #pool: ReturnType<StartMotion> | undefined;

  /** @param start By default in threads that do nothing else. */
  constructor(options: MotionEstimatorOptions, threads: number, start = startMotion) {
    this.#options = options;
    this.#threads = threads;
    this.#startThreads = start;
    this.#collector = new MotionCollector(options);
  }

  /** As `MotionEstimator.add`; `pixels` may be reused once it is done. To be called frame by frame, without waiting. */
  async add(frame: ReducedFrame): Promise<void> {
    checkShape(frame, this.#layout);
    const { number: _, pixels: __, ...shape } = frame;
    const pool = this.#prepare(shape);
    const layout = this.#layout!;
    const index = this.#frames.length;
    const slots = layout.slots.length;
    const slot = index % slots;
    // The frame that was there, and those that are compared with it.
    const leaving = index - slots + keptFrames;
    const free = leaving >= 0 ? this.#frames[leaving].taken : Promise.resolve();
    let copied: () => void = () => {};
    const isCopied = new Promise<void>((resolve) => {
      copied = resolve;
    });
    const measured = free.then(() =>
      pool.run('measure', (thread) => {
        FrameMeter.putSamples(layout, thread, frame);
        copied();
        return { number: frame.number, slot };
      }),
    );
    this.#frames.push(this.#link(index, slot, measured, pool));
    await Promise.race([isCopied, measured]);
  }

  /** As `MotionEstimator.solveInParts`, in threads. */
  async solveInParts(anchorNumber: number, motion?: MotionModel): Promise<MotionSolution> {
    await this.#frames.at(-1)?.taken;
    return this.#collector.solveInParts(anchorNumber, motion, (context, link, tiles) =>
      this.#pool!.run('correct', () => ({ context, link, tiles })),
    );
  }

  /** Ends the threads, whatever they are at. */
  async close(): Promise<void> {
    await this.#pool?.close();
  }

  /** Starts the threads before the first frame, of which no more than its shape need be known. */
  start(shape: FrameShape): void {
    this.#prepare(shape);
  }

  #prepare(shape: FrameShape): ReturnType<StartMotion> {
    if (this.#pool) return this.#pool;
    const slots = keptFrames + 1 + this.#threads;
    const layout = layMotion(shape, this.#options.fullSize, slots, this.#threads);
    this.#layout = layout;
    this.#collector.begin(layout);
    // Another than those of the threads is not needed: it has nothing to measure.
    this.#meter = new FrameMeter(layout, 0);
    this.#pool = this.#startThreads(layout, this.#threads);
    return this.#pool;
  }

  #link(
    index: number,
    slot: number,
    measured: Promise<FrameMeasurement>,
    pool: ReturnType<StartMotion>,
  ): FrameUnderWay {
    const before = this.#frames[index - 1];
    let settle: (pair: PairMeasurement | undefined) => void = () => {};
    const adjacent = new Promise<PairMeasurement | undefined>((resolve) => {
      settle = resolve;
    });
    const linked = this.#linkInThreads(index, slot, measured, pool, settle);
    const take = async () => {
      const [own, pairs] = await Promise.all([measured, linked, before?.taken]);
      const isSame = before !== undefined && this.#meter!.isSame(before.slot, slot);
      this.#collector.take(own, isSame, pairs);
    };
    const taken = take();
    // Told where they are awaited.
    for (const promise of [measured, linked, taken]) promise.catch(() => settle(undefined));
    return { slot, measured, adjacent, taken };
  }

  async #linkInThreads(
    index: number,
    slot: number,
    measured: Promise<FrameMeasurement>,
    pool: ReturnType<StartMotion>,
    settle: (pair: PairMeasurement | undefined) => void,
  ): Promise<LinkedPair[]> {
    const { motion } = this.#options;
    if (motion === 'none') {
      settle(undefined);
      return [];
    }
    const frameAt = async (
      at: number,
      slotAt: number,
      own: Promise<FrameMeasurement>,
    ): Promise<SlotFrame> => ({
      slot: slotAt,
      id: at,
      noiseEnergies: (await own).noiseEnergies,
    });
    const { radiusPx } = this.#collector;
    const known = new Map<number, PairMeasurement | undefined>();
    const kept = Array.from({ length: Math.min(index, keptFrames) }, (_, i) => index - 1 - i);
    const pairs = linkFrame(kept, (from, to) => {
      // A prediction goes by the pair of the two frames before.
      const pair = to === from + 1 ? known.get(to) : undefined;
      return pair?.reliable ? pair.motion : undefined;
    });
    const moving = await frameAt(index, slot, measured);
    let part = pairs.next();
    while (!part.done) {
      const { from } = part.value;
      const other = this.#frames[from];
      const reference = await frameAt(from, other.slot, other.measured);
      const { start } = part.value;
      const options = { radiusPx, shiftOnly: motion === 'shift', start };
      const pair = await pool.run('compare', () => ({ reference, moving, options }));
      if (from === index - 1) {
        settle(pair);
        known.set(from, await other.adjacent);
      }
      part = pairs.next(pair);
    }
    settle(undefined);
    return part.value;
  }
}
