import type { SensorSpot } from '../rail/sensor-spot.js';

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
