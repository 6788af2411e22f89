import { minSample } from '../model/constants/model.js';
import { rimRadius, spotReachPx } from '../model/constants/rail.js';
import type { DustSpot } from './sensor-spot.js';

/** A dark spot that one search of several found, or more. */
export interface FoundDust {
  /** As the newest of them found it. */
  spot: DustSpot;
  /** Searches that found it, of those since the first that did. */
  found: number;
  searches: number;
}

/** What is known after one more search. */
export function noteDust(known: readonly FoundDust[], spots: readonly DustSpot[]): FoundDust[] {
  const again = known.map(({ spot, found, searches }): FoundDust => {
    const same = spots.find((other) => isSame(spot, other));
    return { spot: same ?? spot, found: found + (same ? 1 : 0), searches: searches + 1 };
  });
  const others = spots.filter((spot) => known.every((before) => !isSame(before.spot, spot)));
  return [...again, ...others.map((spot) => ({ spot, found: 1, searches: 1 }))];
}

/**
 * The spots that are taken for dust. Every search is one more chance of a false alarm, and those are seldom found again:
 * dust is what most searches find, since the first that did. What many have found stays, for dust stays, and whether it
 * shows later depends on what lies behind it.
 */
export function knownDust(known: readonly FoundDust[]): DustSpot[] {
  return known
    .filter(({ found, searches }) => found >= Math.min(searches / 2, minSample))
    .map(({ spot }) => spot);
}

/** Whether two spots lie in the surroundings of each other, by which they are found. */
function isSame(one: DustSpot, other: DustSpot): boolean {
  return Math.hypot(one.x - other.x, one.y - other.y) <= (spotReachPx / rimRadius) * one.radius;
}
