import type { Doers } from '../workers/serve-tasks.js';
import { correctLink, type SlopeContext } from './correct-slopes.js';
import type { Correspondences } from './fit-motion.js';
import { type FrameMeasurement, FrameMeter, type MotionLayout, type SlotFrame } from './frame-meter.js';
import type { PairMeasurement, PairOptions } from './pair-motion.js';
import type { PairLink } from './solve-stack.js';

/** What threads that measure motion do, as `TaskPool` has it. */
export type MotionTasks = {
  /** Measures the frame whose samples lie where this thread takes them. */
  measure: { task: { number: number; slot: number }; answer: FrameMeasurement };
  compare: {
    task: { reference: SlotFrame; moving: SlotFrame; options: PairOptions };
    answer: PairMeasurement;
  };
  correct: { task: { context: SlopeContext; link: PairLink; tiles: Correspondences }; answer: PairLink };
};

/** What such a thread gets at its start. */
export interface MotionSetup {
  layout: MotionLayout;
  thread: number;
}

/** The tasks, in the thread that does them. */
export function motionTasks({ layout, thread }: MotionSetup): Doers<MotionTasks> {
  const meter = new FrameMeter(layout, thread);
  return {
    measure: ({ number, slot }) => meter.measure(number, slot),
    compare: ({ reference, moving, options }) => meter.compare(reference, moving, options),
    correct: ({ context, link, tiles }) => correctLink(context, link, tiles),
  };
}
