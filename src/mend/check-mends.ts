import { marginOf } from '../image/frame-reach.js';
import { applyMatrix } from '../image/transform.js';
import { optionName } from '../option-names.js';
import type { RunRecord } from '../result/run-record.js';
import type { PictureRegion } from '../trace/picture-region.js';
import type { StackFrame } from '../trace/stack-frames.js';
import { regionBounds, regionFault } from './mend-region.js';
import type { Mend } from './mends-file.js';

/**
 * Why a mend cannot be applied to a result, as a sentence for the user; undefined when it can.
 *
 * @param frames The frames in use.
 */
export function mendFault(mend: Mend, record: RunRecord, frames: readonly StackFrame[]): string | undefined {
  const who = `Mend ${mend.id} cannot be applied:`;
  if (mend.rule !== undefined) {
    const fault = regionFault(mend.region, record.size);
    return fault === undefined ? undefined : `${who} ${fault}.`;
  }
  const frame = frames.find(({ number }) => number === mend.frame);
  if (!frame) {
    const known = record.frames.find(({ number }) => number === mend.frame);
    if (known) {
      return `${who} frame ${mend.frame} (${known.name}) was left out of the merge: ${known.leftOutReason ?? 'it could not be aligned'}. Choose another frame.`;
    }
    if (record.options.skip?.includes(mend.frame)) {
      return `${who} frame ${mend.frame} was left out of the merge by ${optionName('skip')}. Choose another frame.`;
    }
    return `${who} there is no frame ${mend.frame} in this result. It has ${frameSpan(frames)}.`;
  }
  const fault = regionFault(mend.region, record.size);
  if (fault !== undefined) return `${who} ${fault}.`;
  const missed = missedCorner(frame, regionBounds(mend.region, record.size)!);
  if (!missed) return undefined;
  return `${who} frame ${mend.frame} (${frame.name}) does not cover all of the region: it ends before ${missed.join(',')}. Choose a smaller region or another frame.`;
}

/** A corner of a rectangle of the composite that a frame does not cover; undefined when it covers all of it. */
export function missedCorner(frame: StackFrame, bounds: PictureRegion): [x: number, y: number] | undefined {
  const { width, height } = frame.size;
  const margin = marginOf(frame.toFrame);
  for (const x of [bounds.x, bounds.x + bounds.width - 1]) {
    for (const y of [bounds.y, bounds.y + bounds.height - 1]) {
      const [u, v] = applyMatrix(frame.toFrame, x, y);
      const inside = (at: number, last: number) => at >= margin - 1e-6 && at <= last - margin + 1e-6;
      if (!inside(u, width - 1) || !inside(v, height - 1)) return [x, y];
    }
  }
  return undefined;
}

function frameSpan(frames: readonly StackFrame[]): string {
  const numbers = frames.map(({ number }) => number);
  const spans: [first: number, last: number][] = [];
  for (const number of numbers) {
    const span = spans.at(-1);
    if (span && span[1] === number - 1) span[1] = number;
    else spans.push([number, number]);
  }
  const ranges = spans.map(([first, last]) => (first === last ? `${first}` : `${first} to ${last}`));
  return `frames ${ranges.join(', ')}`;
}
