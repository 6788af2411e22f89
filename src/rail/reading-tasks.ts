import type { Size } from '../image/image.js';
import { type MotionSetup, type MotionTasks, motionTasks } from '../register/motion-tasks.js';
import type { DecodedFrame } from '../stack/decode.js';
import { sharedCopy } from '../workers/shared-copy.js';
import { type DustSearch, searchSpots } from './find-dust.js';
import { FrameReader, type ReadFrame, type WantedOfFrame } from './frame-reader.js';
import type { Spot } from './spot-responses.js';

/** What the threads of a reading do, as `TaskPool` has it: they measure its motion, too. */
export type ReadingTasks = MotionTasks & {
  /** The pixels of what comes back are shared. */
  read: { task: { number: number; decoded: DecodedFrame; wanted: WantedOfFrame }; answer: ReadFrame };
  spots: { task: { search: DustSearch; from: number; to: number }; answer: Spot[] };
};

/** What such a thread gets at its start. */
export interface ReadingTaskSetup extends MotionSetup {
  /** Of the reduced pictures. */
  reduced: Size;
}

type Doers = {
  [Name in keyof ReadingTasks]: (task: ReadingTasks[Name]['task']) => ReadingTasks[Name]['answer'];
};

/** The tasks, in the thread that does them. */
export function readingTasks({ reduced, ...setup }: ReadingTaskSetup): Doers {
  const reader = new FrameReader(reduced);
  return {
    ...motionTasks(setup),
    read: ({ number, decoded, wanted }) => {
      const { measurements, plane, brightness, motion } = reader.read(number, decoded, wanted);
      return {
        measurements,
        plane: plane && sharedCopy(plane),
        brightness,
        motion: { ...motion, pixels: sharedCopy(motion.pixels) },
      };
    },
    spots: ({ search, from, to }) => searchSpots(search, from, to),
  };
}
