import type { MergeStage } from './merge-event.js';

/** The stages of a merge as people read of them, in their order. */
export const stageTitles: Record<MergeStage, string> = {
  list: 'Reading the folder',
  register: 'Aligning',
  focus: 'Measuring focus',
  surface: 'Fitting the surface',
  blend: 'Blending',
  write: 'Writing the result',
};
