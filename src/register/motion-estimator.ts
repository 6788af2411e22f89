import { keptFrames } from '../model/constants/register.js';
import type { MotionModel } from '../options/motion-model.js';
import { FrameMeter, layMotion, type MotionLayout, type SlotFrame } from './frame-meter.js';
import {
  checkShape,
  type LinkedPair,
  linkFrame,
  MotionCollector,
  type MotionEstimatorOptions,
} from './motion-collector.js';
import type { MotionSolution } from './motion-solution.js';
import type { ReducedFrame } from './reduced-frame.js';

export type { MotionEstimatorOptions } from './motion-collector.js';

export interface MotionEstimator {
  /** Measures a frame against the frames before it. Frames come in capture order; `pixels` may be reused after. */
  add(frame: ReducedFrame): void;
  /**
   * Forgets a frame, by its index in the order of adding. The frames on both sides of it stay linked to each other as
   * far as they were compared: each is compared with the two before it.
   */
  remove(index: number): void;
  /** Solves all frames added so far, to the frame with this number. */
  solve(anchorNumber: number): MotionSolution;
  /**
   * As `solve`, but lets the events of this thread through, as those of decoding, between parts of the work.
   *
   * @param motion Another model by the same pairs, see `sharesPairs`; default: that of the estimator.
   */
  solveInParts(anchorNumber: number, motion?: MotionModel): Promise<MotionSolution>;
}

interface KeptFrame extends SlotFrame {
  index: number;
}

/**
 * Estimates motion and gain of a stack, frame by frame, in this thread. Holds four band-passed pyramids of the reduced size and
 * a few numbers per frame, so memory does not grow with the stack's pictures.
 */
export function createMotionEstimator(options: MotionEstimatorOptions): MotionEstimator {
  return new StreamingEstimator(options);
}

class StreamingEstimator implements MotionEstimator {
  readonly #options: MotionEstimatorOptions;
  readonly #collector: MotionCollector;
  #layout: MotionLayout | undefined;
  #meter: FrameMeter | undefined;
  /** Newest first. */
  readonly #kept: KeptFrame[] = [];
  /** Slots that no kept frame uses. */
  readonly #spare: number[] = Array.from({ length: keptFrames + 1 }, (_, slot) => slot);
  #nextId = 0;

  constructor(options: MotionEstimatorOptions) {
    this.#options = options;
    this.#collector = new MotionCollector(options);
  }

  add(frame: ReducedFrame): void {
    checkShape(frame, this.#layout);
    const meter = this.#prepare(frame);
    if (this.#kept.length > keptFrames) this.#spare.push((this.#kept.pop() as KeptFrame).slot);
    const slot = this.#spare.pop() as number;
    FrameMeter.putSamples(this.#layout!, 0, frame);
    const measurement = meter.measure(frame.number, slot);
    const index = this.#collector.evidence.frames.length;
    const current = { index, slot, id: this.#nextId++, noiseEnergies: measurement.noiseEnergies };
    const previous = this.#kept[0];
    const isSame = previous !== undefined && meter.isSame(previous.slot, slot);
    this.#collector.take(measurement, isSame, this.#link(current, meter));
    this.#kept.unshift(current);
  }

  remove(index: number): void {
    this.#collector.remove(index);
    const at = this.#kept.findIndex((frame) => frame.index === index);
    if (at >= 0) this.#spare.push(this.#kept.splice(at, 1)[0].slot);
    for (const frame of this.#kept) if (frame.index > index) frame.index--;
  }

  solve(anchorNumber: number): MotionSolution {
    return this.#collector.solve(anchorNumber);
  }

  async solveInParts(anchorNumber: number, motion?: MotionModel): Promise<MotionSolution> {
    return this.#collector.solveInParts(anchorNumber, motion);
  }

  /** Takes memory when the first frame gives the size. */
  #prepare(frame: ReducedFrame): FrameMeter {
    if (this.#meter) return this.#meter;
    const { number: _, pixels: __, ...shape } = frame;
    this.#layout = layMotion(shape, this.#options.fullSize, keptFrames + 1, 1);
    this.#collector.begin(this.#layout);
    this.#meter = new FrameMeter(this.#layout, 0);
    return this.#meter;
  }

  #link(current: KeptFrame, meter: FrameMeter): LinkedPair[] {
    const { motion } = this.#options;
    if (motion === 'none') return [];
    const { radiusPx } = this.#collector;
    const pairs = linkFrame(
      this.#kept.map(({ index }) => index),
      (from, to) => this.#collector.motionBetween(from, to),
    );
    let part = pairs.next();
    while (!part.done) {
      const { from, start } = part.value;
      const kept = this.#kept.find(({ index }) => index === from) as KeptFrame;
      part = pairs.next(meter.compare(kept, current, { radiusPx, shiftOnly: motion === 'shift', start }));
    }
    return part.value;
  }
}
