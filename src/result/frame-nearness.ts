import type { RunRecord } from './run-record.js';

/** Frames in use from the nearest plane of focus to the farthest; without depths in capture order, by the direction. */
export function framesByDepth({ frames, direction }: Pick<RunRecord, 'frames' | 'direction'>): number[] {
  const used = frames.filter((frame) => frame.used);
  const sign = direction === 'far-to-near' ? -1 : 1;
  const hasDepths = used.every(({ depth }) => depth !== null);
  return used
    .sort((first, second) =>
      hasDepths ? first.depth! - second.depth! : sign * (first.number - second.number),
    )
    .map(({ number }) => number);
}

/** Where each frame in use stands among them, 0 the farthest, 1 the nearest: its position on the scale of depth colours. */
export function frameNearness(record: Pick<RunRecord, 'frames' | 'direction'>): Map<number, number> {
  const numbers = framesByDepth(record);
  const last = numbers.length - 1;
  return new Map(numbers.map((number, i) => [number, last > 0 ? 1 - i / last : 0.5]));
}
