import { growthMessage, unknownAdvice } from '../check/direction-findings.js';
import type { FocusDirection, RailFacts } from '../stack/focus-direction.js';

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
