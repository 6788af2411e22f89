import { optionName } from '../option-names.js';
import { orderByCommonSize } from '../stack/common-size.js';
import type { Photograph } from '../stack/inspect-file.js';
import { countOf, someNames } from '../stack/words.js';
import type { DiscoveredStack } from './discovered-stack.js';
import { pictureSteps } from './picture-steps.js';
import { findBound, findPause, groupsAt } from './time-gaps.js';

/** How folders of many stacks are parted. */
export interface SplitOptions {
  /** By pauses between capture times, by jumps of the picture, or by times where there are any. */
  by: 'auto' | 'time' | 'picture';
  /** Pause that parts stacks, s; found from the times when not given. */
  gapS?: number | undefined;
  /** Frames that make a stack; fewer are left over. */
  minFrames: number;
}

/** One stack of a folder. Frame numbers are those of the folder's capture order, from 1. */
export interface FolderPart {
  first: number;
  last: number;
  members: Photograph[];
}

export interface PartedFolder {
  parts: FolderPart[];
  /** What was found, for people. */
  sentence: string;
}

/** A jump of the picture is at least this much, see `pictureSteps`; focus alone changes less. */
const minJump = 0.1;

/** Changes of the picture below this are noise. */
const pictureFloor = 0.01;

/** Parts the photographs of a folder into stacks, in capture order. */
export async function partFolder(
  { folder }: Pick<DiscoveredStack, 'folder'>,
  photographs: readonly Photograph[],
  split: SplitOptions,
  signal?: AbortSignal,
): Promise<PartedFolder> {
  const { ordered } = orderByCommonSize(photographs);
  const gaps = split.by === 'picture' ? undefined : gapsBetween(ordered);
  const parted = gaps
    ? byPauses(gaps, split)
    : split.by === 'time'
      ? {
          groups: [],
          how: `not parted: not every frame has a capture time in rising order; try ${optionName('splitBy')} picture`,
        }
      : await byJumps(ordered, split, signal);
  const groups = parted.groups.filter(([first, last]) => last - first + 1 >= split.minFrames);
  const left = ordered.filter((_, i) => !groups.some(([first, last]) => i >= first && i <= last));
  const leftNames = someNames(left.map(({ name }) => name));
  const leftWords =
    left.length > 0
      ? `; ${countOf(left.length, 'frame')} left over in groups of fewer than ${split.minFrames}: ${leftNames}`
      : '';
  return {
    parts: groups.map(([first, last]) => ({
      first: first + 1,
      last: last + 1,
      members: ordered.slice(first, last + 1),
    })),
    sentence: `${folder}: ${countOf(groups.length, 'stack')}, ${parted.how}${leftWords}.`,
  };
}

/** Times from each frame to the next, ms; undefined where a time is missing or they run backwards. */
function gapsBetween(ordered: readonly Photograph[]): number[] | undefined {
  const times = ordered.map(({ exif }) => exif.takenMs);
  if (!times.every((time) => time !== undefined)) return undefined;
  const gaps = times.slice(1).map((time, i) => time - times[i]);
  return gaps.every((gap) => gap >= 0) && gaps.some((gap) => gap > 0) ? gaps : undefined;
}

function byPauses(gapsMs: number[], split: SplitOptions): { groups: [number, number][]; how: string } {
  const given = split.gapS === undefined ? undefined : split.gapS * 1000;
  const boundMs = given ?? findPause(gapsMs, split.minFrames) ?? Number.POSITIVE_INFINITY;
  const groups = groupsAt(gapsMs, boundMs);
  if (boundMs === Number.POSITIVE_INFINITY) return { groups, how: 'no pause stands out from the others' };
  const within = Math.max(0, ...gapsMs.filter((gap) => gap <= boundMs));
  const between = Math.min(...gapsMs.filter((gap) => gap > boundMs));
  const found = given === undefined ? ', found from the data' : '';
  const pauses = Number.isFinite(between) ? `, pauses between them last ${seconds(between)} or more` : '';
  return {
    groups,
    how: `parted at pauses of more than ${seconds(boundMs)}${found}: within stacks frames follow within ${seconds(within)}${pauses}`,
  };
}

async function byJumps(
  ordered: readonly Photograph[],
  split: SplitOptions,
  signal?: AbortSignal,
): Promise<{ groups: [number, number][]; how: string }> {
  const steps = await pictureSteps(
    ordered.map(({ path }) => path),
    signal,
  );
  const found = findBound(steps, pictureFloor, split.minFrames);
  if (found === undefined) return { groups: groupsAt(steps, 2), how: 'no jump of the picture stands out' };
  return { groups: groupsAt(steps, Math.max(found, minJump)), how: 'parted where the picture jumps' };
}

function seconds(ms: number): string {
  return `${Number((ms / 1000).toFixed(ms < 10_000 ? 1 : 0))} s`;
}
