import type { Finding } from '../result/finding.js';
import type { FrameVerdict, WatchEvent } from '../watch/watch-events.js';
import type { WatchOptions } from '../watch/watch-options.js';

/** What the desk sends to the process of a watch. */
export type WatchCommand =
  | { type: 'watch'; folder: string; options: Partial<WatchOptions> }
  | { type: 'stop' };

/** What the process of a watch sends: an event with its words, all that is judged, and why it ends. */
export type WatchMessage =
  | { type: 'event'; event: WatchEvent; lines: string[]; coverage?: string }
  | { type: 'judged'; frames: FrameVerdict[]; findings: Finding[] }
  | { type: 'failed'; message: string };
