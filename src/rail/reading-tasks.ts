import { type MotionSetup, type MotionTasks, motionTasks } from '../register/motion-tasks.js';
import type { DecodedFrame } from '../stack/decode.js';
import type { Doers } from '../workers/serve-tasks.js';
import { sharedCopy } from '../workers/shared-copy.js';
import { type DustSearch, searchSpots } from './find-dust.js';
import { type ReadFrame, readFrame, type WantedOfFrame } from './read-frame.js';
import type { Spot } from './spot-responses.js';

/** What the threads of a reading do, as `TaskPool` has it: they measure its motion, too. */
export type ReadingTasks = MotionTasks & {
  /** Planes and brightness of what comes back are shared. */
  read: { task: { number: number; decoded: DecodedFrame; wanted: WantedOfFrame }; answer: ReadFrame };
  spots: { task: { search: DustSearch; from: number; to: number }; answer: Spot[] };
};

/** The tasks, in the thread that does them. */
export function readingTasks(setup: MotionSetup): Doers<ReadingTasks> {
  return {
    ...motionTasks(setup),
    read: ({ number, decoded, wanted }) => {
      const read = readFrame(number, decoded, wanted);
      const { plane, brightness } = read;
      return {
        ...read,
        plane: plane && sharedCopy(plane),
        brightness: brightness && sharedCopy(brightness),
      };
    },
    spots: ({ search, from, to }) => searchSpots(search, from, to),
  };
}
