import type { SensorSpot } from '../rail/sensor-spot.js';
import type { GivenOrder } from '../stack/capture-order.js';
import type { KnownDirection } from '../stack/focus-direction.js';

/** What a finding is about; the same words in JSON for programs. */
export type FindingKind =
  | 'order'
  | 'direction'
  | 'duplicate'
  | 'left-out'
  | 'few-frames'
  | 'time-gap'
  | 'camera'
  | 'lens'
  | 'exposure'
  | 'aperture'
  | 'white-balance'
  | 'light'
  | 'not-aligned'
  | 'missed-step'
  | 'step'
  | 'step-not-taken'
  | 'reversed-turn'
  | 'bump'
  | 'blurred-frame'
  | 'too-short-in-front'
  | 'too-short-behind'
  | 'too-coarse-steps'
  | 'out-of-reach'
  | 'needless-frames'
  | 'no-detail'
  | 'too-few-frames'
  | 'highlights'
  | 'shadows'
  | 'dust'
  | 'hot-pixels'
  | 'optics';

/** 'spoils' the merge; a 'flaw' that the merge bears, and that may be seen; a 'note' to know of. */
export type FindingRank = 'spoils' | 'flaw' | 'note';

/** Options of a merge that remedy what a finding is about; any of several, where it has more than one. */
export interface FindingFix {
  /** Frames to leave out. */
  skip?: number[] | undefined;
  order?: GivenOrder | undefined;
  direction?: KnownDirection | undefined;
}

/** One verdict in plain words. */
export interface Finding {
  kind: FindingKind;
  rank: FindingRank;
  /** Numbers of the frames it is about, rising; empty when it is about all of them. */
  frames: number[];
  /** Names of their files. */
  files?: string[] | undefined;
  /** What is so: a sentence or two. */
  message: string;
  /** What to do; empty when there is nothing. */
  advice: string;
  /** What a merge can do about it; absent when nothing, or when it does so anyway. */
  fixes?: FindingFix[] | undefined;
  /** Pixels of the sensor, for dust and hot pixels. */
  spots?: SensorSpot[] | undefined;
  /** Step that would have been needed, as a part of the present one; and in mm where the step is known. */
  neededStepPart?: number | undefined;
  neededStepMm?: number | undefined;
}

const ranks: readonly FindingRank[] = ['spoils', 'flaw', 'note'];

/** The gravest first; in the order given within a rank. */
export function byRank(findings: readonly Finding[]): Finding[] {
  return ranks.flatMap((rank) => findings.filter((finding) => finding.rank === rank));
}

export function spoilsMerge(findings: readonly Finding[]): boolean {
  return findings.some(({ rank }) => rank === 'spoils');
}
