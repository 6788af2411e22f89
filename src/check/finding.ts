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
  | 'uneven-step'
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

/** A place on the sensor, full-size pixels of the upright frame. */
export interface SensorSpot {
  x: number;
  y: number;
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
  /** Places on the sensor, for dust and hot pixels. */
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

/** "frame 3", "frames 3, 5 and 7 to 12": runs of three or more are drawn together. */
export function framesText(numbers: readonly number[]): string {
  if (numbers.length === 0) return 'all frames';
  return `${numbers.length === 1 ? 'frame' : 'frames'} ${numbersText(numbers)}`;
}

export function numbersText(numbers: readonly number[]): string {
  const parts = runsOf(numbers).flatMap(([first, last]) => {
    if (last - first >= 2) return [`${first} to ${last}`];
    return first === last ? [String(first)] : [String(first), String(last)];
  });
  return parts.length < 2 ? parts.join('') : `${parts.slice(0, -1).join(', ')} and ${parts.at(-1)}`;
}

/** The same as a value of `--skip`: "3,5,7-12". */
export function skipText(numbers: readonly number[]): string {
  return runsOf(numbers)
    .map(([first, last]) => (first === last ? `${first}` : `${first}-${last}`))
    .join(',');
}

/** First and last of each run of numbers that follow one another, rising. */
function runsOf(numbers: readonly number[]): [number, number][] {
  const runs: [number, number][] = [];
  for (const number of [...numbers].sort((p, q) => p - q)) {
    const run = runs.at(-1);
    if (run && number === run[1] + 1) run[1] = number;
    else runs.push([number, number]);
  }
  return runs;
}

/** "3 and 4, 7 and 8": pairs of frames with something between them. */
export function pairsText(pairs: readonly (readonly [number, number])[]): string {
  return pairs.map(([from, to]) => `${from} and ${to}`).join(', ');
}

/** A sentence's first letter in capitals. */
export function capital(text: string): string {
  return text.charAt(0).toUpperCase() + text.slice(1);
}
