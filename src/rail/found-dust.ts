import type { DustSpot } from './sensor-spot.js';

/** A dark spot that searches found at about the same place of the sensor. */
export interface FoundDust {
  spot: DustSpot;
  /** Searches that found it, and whether the newest did. */
  searches: number;
  isNewest: boolean;
}

/** What is known after one more search: a spot within a diameter of one that is known is the same. */
export function noteDust(known: readonly FoundDust[], found: readonly DustSpot[]): FoundDust[] {
  const isSame = (one: DustSpot, other: DustSpot) =>
    Math.hypot(one.x - other.x, one.y - other.y) <= 2 * one.radius;
  const again = known.map(({ spot, searches }): FoundDust => {
    const isNewest = found.some((other) => isSame(spot, other));
    return { spot, searches: searches + (isNewest ? 1 : 0), isNewest };
  });
  const others = found.filter((spot) => known.every((before) => !isSame(before.spot, spot)));
  return [...again, ...others.map((spot) => ({ spot, searches: 1, isNewest: true }))];
}

/**
 * The spots that are taken for dust. A search after every frame is so many more chances of a false alarm, and those come
 * once: a spot that one search alone found is dropped with the next. One that two searches found stays, for dust stays,
 * and whether it shows depends on what lies behind it.
 */
export function knownDust(found: readonly FoundDust[]): DustSpot[] {
  return found.filter(({ searches, isNewest }) => searches > 1 || isNewest).map(({ spot }) => spot);
}
