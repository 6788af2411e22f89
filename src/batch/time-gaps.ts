/** Pauses and intervals shorter than this are not distinguished: many cameras write whole seconds only. */
const resolutionMs = 1000;

/** A pause between stacks is at least this many times longer than any within one. */
const minRatio = 3;

/**
 * The bound between steps within a group and steps from one group to the next, found in the steps themselves: in
 * order of size, where they grow most from one to the next. Undefined when they grow evenly, so that
 * there is one group. Common practice for one-dimensional clusters, no source.
 *
 * @param steps Steps from each member to the next, any unit, not negative.
 * @param floor Steps below this count as this.
 * @param minMembers Members that make a group; a bound that leaves most members in smaller ones is none.
 */
export function findBound(steps: readonly number[], floor: number, minMembers: number): number | undefined {
  const sorted = steps.map((step) => Math.max(floor, step)).sort((a, b) => a - b);
  let bound: number | undefined;
  let greatest = minRatio;
  for (let i = 1; i < sorted.length; i++) {
    const ratio = sorted[i] / sorted[i - 1];
    if (ratio < greatest) continue;
    const candidate = Math.sqrt(sorted[i] * sorted[i - 1]);
    if (!areMostlyInGroups(steps, candidate, minMembers)) continue;
    greatest = ratio;
    bound = candidate;
  }
  return bound;
}

/** The pause that parts stacks, ms; see `findBound`. `gapsMs` are the times between frames in capture order. */
export function findPause(gapsMs: readonly number[], minMembers: number): number | undefined {
  return findBound(gapsMs, resolutionMs, minMembers);
}

/** First and last index (inclusive) of each group: a step above `bound` begins a new one. */
export function groupsAt(steps: readonly number[], bound: number): [number, number][] {
  const groups: [number, number][] = [];
  let first = 0;
  for (let i = 0; i <= steps.length; i++) {
    if (i < steps.length && steps[i] <= bound) continue;
    groups.push([first, i]);
    first = i + 1;
  }
  return groups;
}

function areMostlyInGroups(steps: readonly number[], bound: number, minMembers: number): boolean {
  const sizes = groupsAt(steps, bound).map(([first, last]) => last - first + 1);
  const inGroups = sizes.filter((size) => size >= minMembers).reduce((sum, size) => sum + size, 0);
  return inGroups * 2 > steps.length + 1;
}
