import { countOf, spanText } from '../../../stack/words.js';
import type { FolderEntry, StackFacts } from '../../protocol.js';

const day = new Intl.DateTimeFormat('en-GB', {
  day: 'numeric',
  month: 'short',
  year: 'numeric',
  timeZone: 'UTC',
});
const clock = new Intl.DateTimeFormat('en-GB', { hour: '2-digit', minute: '2-digit', timeZone: 'UTC' });
const localDay = new Intl.DateTimeFormat('en-GB', { day: 'numeric', month: 'short', year: 'numeric' });
const localClock = new Intl.DateTimeFormat('en-GB', { hour: '2-digit', minute: '2-digit' });

/** When photographs were taken, by the camera's clock, which is kept as if it ran on UTC. */
export function takenText({ first, last }: { first: number; last: number }): string {
  const [from, to] = [new Date(first), new Date(last)];
  const start = `${day.format(from)}, ${clock.format(from)}`;
  if (day.format(from) !== day.format(to)) return `${start} to ${day.format(to)}`;
  return clock.format(from) === clock.format(to) ? start : `${start} to ${clock.format(to)}`;
}

/** A moment of this machine's clock, ISO 8601. */
export function momentText(iso: string): string {
  const date = new Date(iso);
  const isToday = localDay.format(date) === localDay.format(new Date());
  return isToday
    ? `today, ${localClock.format(date)}`
    : `${localDay.format(date)}, ${localClock.format(date)}`;
}

/** 12.3 MB, 4.5 GB. */
export function bytesText(bytes: number): string {
  if (bytes < 1e6) return `${Math.max(1, Math.round(bytes / 1e3))} kB`;
  if (bytes < 1e9) return `${(bytes / 1e6).toFixed(bytes < 1e7 ? 1 : 0)} MB`;
  return `${(bytes / 1e9).toFixed(1)} GB`;
}

/** What is known of a stack in parts of a line, the most telling first. */
export function stackFactsTexts(facts: StackFacts): string[] {
  const { photographs, takenMs, camera, lens, size, kinds, sizeBytes } = facts;
  return [
    countOf(photographs, 'photograph'),
    ...(takenMs ? [takenText(takenMs)] : []),
    ...(camera === null ? [] : [camera]),
    ...(lens === null ? [] : [lens]),
    ...(size ? [`${size.width} × ${size.height} pixels`] : []),
    `${kinds.join(', ')}${kinds.length > 0 ? ', ' : ''}${bytesText(sizeBytes)}`,
  ];
}

/** What lies in a folder that is no stack. */
export function contentText({ photographs, folders }: FolderEntry): string {
  const parts = [
    ...(folders > 0 ? [countOf(folders, 'folder')] : []),
    ...(photographs > 0 ? [countOf(photographs, 'photograph')] : []),
  ];
  return parts.length === 0 ? 'empty' : parts.join(', ');
}

/** How long something will take, on one line. */
export function aboutText(seconds: number): string {
  return `about ${spanText(seconds * 1000)}`.replaceAll(' ', '\u00a0');
}
