import { growthMessage, unknownAdvice } from '../check/direction-findings.js';
import type { MergeOptions } from '../options/merge-options.js';
import type { FocusDirection, RailFacts } from '../stack/focus-direction.js';
import type { UsedFrame } from './used-frame.js';

/** What a merge says about which end is near: nothing where the user said it or the pictures show it. */
export function directionNotes(way: FocusDirection, rail: RailFacts): string[] {
  const { direction, directionBy } = way;
  const order = direction.replaceAll('-', ' ');
  if (directionBy === 'growth') {
    return [growthMessage(direction, rail)];
  }
  if (directionBy === 'focused distances') {
    return [`The frames run from ${order}, by the focused distances in their EXIF.`];
  }
  if (direction === 'unknown') {
    return [
      `The frames do not show which end of the stack is near: depth counts in capture order, positive toward the last frame, and no blur of near things is cleared. ${unknownAdvice(way, rail)}`,
    ];
  }
  return [];
}

/** Mean travel of the rail from frame to frame, where the user gives it, mm. */
export function meanStepMm(
  used: readonly UsedFrame[],
  { stepMm, positionsMm }: Pick<MergeOptions, 'stepMm' | 'positionsMm'>,
): number | undefined {
  if (!positionsMm) return stepMm;
  const [first, last] = [used[0].file.number, used.at(-1)!.file.number];
  return Math.abs(positionsMm[last - 1] - positionsMm[first - 1]) / (used.length - 1);
}
