import type { MergeEvent, MergeStage } from '../merge/merge-event.js';

export type ProgressEvent = Extract<MergeEvent, { event: 'progress' }>;

export const stageTitles: Record<MergeStage, string> = {
  list: 'Reading the folder',
  register: 'Aligning',
  focus: 'Measuring focus',
  surface: 'Fitting the surface',
  blend: 'Blending',
  write: 'Writing the result',
};

/** A span of time as text, two units at most: '8 s', '1 min 20 s', '2 h 5 min'. */
export function durationText(seconds: number): string {
  const whole = Math.max(0, Math.round(seconds));
  if (whole < 60) return `${whole} s`;
  if (whole < 3600) return `${Math.floor(whole / 60)} min ${whole % 60} s`;
  return `${Math.floor(whole / 3600)} h ${Math.floor((whole % 3600) / 60)} min`;
}

/** 'frame 12 of 40, 85 MP/s, 1 min 20 s left', with only what is known; a result is written in parts. */
export function progressFacts(event: ProgressEvent): string {
  const facts = [`${event.stage === 'write' ? 'part' : 'frame'} ${event.done} of ${event.frames}`];
  if (event.megapixelsPerS > 0 && Number.isFinite(event.megapixelsPerS)) {
    facts.push(`${event.megapixelsPerS.toFixed(event.megapixelsPerS < 10 ? 1 : 0)} MP/s`);
  }
  if (event.leftS !== undefined && Number.isFinite(event.leftS))
    facts.push(`${durationText(event.leftS)} left`);
  return facts.join(', ');
}
