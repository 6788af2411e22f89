import type { MergeEvent } from '../merge/merge-event.js';
import { spanText } from '../stack/words.js';

export type ProgressEvent = Extract<MergeEvent, { event: 'progress' }>;

/** 'frame 12 of 40, 85 MP/s, 1 min 20 s left', with only what is known; a result is written in parts. */
export function progressFacts(event: ProgressEvent): string {
  const facts = [`${event.stage === 'write' ? 'part' : 'frame'} ${event.done} of ${event.frames}`];
  if (event.megapixelsPerS > 0 && Number.isFinite(event.megapixelsPerS)) {
    facts.push(`${event.megapixelsPerS.toFixed(event.megapixelsPerS < 10 ? 1 : 0)} MP/s`);
  }
  if (event.leftS !== undefined && Number.isFinite(event.leftS))
    facts.push(`${spanText(1000 * event.leftS)} left`);
  return facts.join(', ');
}
