import { channel, subscribe } from 'node:diagnostics_channel';

/** Work of one thread from one moment to another, for who measures: `npm run bench` draws them. */
export interface Span {
  kind: 'decode' | 'compute' | 'write';
  /** What was done: the kernel, the frame, or the file. */
  name: string;
  /** The worker, from 0; absent where the system picks the thread. */
  worker?: number;
  /** Clock, ms since 1970. */
  fromMs: number;
  toMs: number;
}

/** Subscribers of 'lamella.spans' get a `Span` each time; without any, nothing is made. */
const spans = channel('lamella.spans');

/** Clock that is the same in all threads, ms since 1970, with fractions. */
export function clockMs(): number {
  return performance.timeOrigin + performance.now();
}

export function publishSpan(span: Span): void {
  if (spans.hasSubscribers) spans.publish(span);
}

/** Calls where somebody measures. */
export function whereSpansAreWanted(call: () => void): void {
  if (spans.hasSubscribers) call();
}

/** Tells of all spans of this thread from now on. */
export function tellSpans(tell: (span: Span) => void): void {
  subscribe('lamella.spans', (span) => tell(span as Span));
}
