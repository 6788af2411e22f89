import { optionName } from '../option-names.js';
import type { FrameMotion } from '../register/motion-solution.js';
import { worthAdvicePercent } from '../result/coverage.js';
import { byRank, type Finding } from '../result/finding.js';
import { percentText } from '../result/report/numbers.js';
import type { Stack } from '../stack/frame.js';
import { framesText } from './finding-text.js';
import { withFiles } from './judge-stack.js';
import { notAligned } from './motion-findings.js';

/** A merge that leaves out a larger share of the frames is no success: it may show half the subject only. */
const maxLeftOutShare = 1 / 5;

/**
 * Adds what only a merge knows of a stack: frames that it could not align on finer pictures, and how many frames are
 * left.
 *
 * @param findings Those of `judgeStack`.
 */
export function judgeFrames(
  findings: readonly Finding[],
  stack: Stack,
  motions: readonly FrameMotion[],
  used: readonly number[],
): Finding[] {
  const reported = new Set(findings.flatMap(({ kind, frames }) => (kind === 'not-aligned' ? frames : [])));
  const further = notAligned(motions.filter(({ number, usable }) => !usable && !reported.has(number)));
  const all = [...fewFrames(stack, used), ...further];
  return byRank([...all.map((finding) => withFiles(finding, stack)), ...findings]);
}

function fewFrames({ frames, warnings }: Stack, used: readonly number[]): Finding[] {
  const kept = new Set(used);
  const numbers = frames.flatMap(({ number }) => (kept.has(number) ? [] : [number]));
  // Photographs that were lost, or have another size, are not among the frames.
  const beside = warnings.filter(({ kind }) => kind === 'lost' || kind === 'odd-size');
  const left = numbers.length + beside.length;
  const total = frames.length + beside.length;
  if (left <= maxLeftOutShare * total) return [];
  return [
    {
      kind: 'few-frames',
      rank: 'spoils',
      frames: numbers,
      message: `Only ${used.length} of ${total} photographs went into the picture: more than a fifth is left out${numbers.length > 0 ? ` (${framesText(numbers)})` : ''}.`,
      advice:
        'See by the warnings why, whether the folder holds one stack, and whether its frames are in the order of the shooting.',
    },
  ];
}

/** Whether so many frames were left out that the merge is no success. */
export function leavesOutMany(findings: readonly Finding[]): boolean {
  return findings.some(({ kind }) => kind === 'few-frames');
}

/** Minimum share that is reported, percent. */
const minOutOfReachPercent = 0.1;

/**
 * Adds what only a merge knows of its framing: how much of it lies outside the frames that could be sharp there.
 * Nothing else is judged by the full-size maps: the verdicts of the reduced frames stand.
 *
 * @param percent Share of the picture by the coverage map.
 */
export function judgeRim(findings: readonly Finding[], percent: number): Finding[] {
  if (percent < minOutOfReachPercent) return [...findings];
  const rim: Finding = {
    kind: 'out-of-reach',
    rank: percent >= worthAdvicePercent ? 'flaw' : 'note',
    frames: [],
    message: `${percentText(percent)} of the picture, along its edges, is out of reach of the frames that could be sharp there: it is blurred and has no depth.`,
    advice: `Merge with ${optionName('crop')} common to cut it off.`,
  };
  return byRank([...findings, rim]);
}
