import type { FrameMotion } from '../register/motion-solution.js';
import type { Stack } from '../stack/frame.js';
import { type CoverageShares, coverageFindings } from './coverage-findings.js';
import { byRank, type Finding, type FindingKind, framesText } from './finding.js';
import { withFiles } from './judge-stack.js';
import { notAligned } from './motion-findings.js';

/** A merge that leaves out a greater part of the frames is no success: it may be of half a subject. */
const mostLeftOut = 1 / 5;

/**
 * What a merge knows of a stack beyond its evidence: frames that it could not align on finer pictures, and how many
 * frames are left.
 *
 * @param findings Those of `judgeStack`.
 */
export function judgeFrames(
  findings: readonly Finding[],
  stack: Stack,
  motions: readonly FrameMotion[],
  used: readonly number[],
): Finding[] {
  const told = new Set(findings.flatMap(({ kind, frames }) => (kind === 'not-aligned' ? frames : [])));
  const further = notAligned(motions.filter(({ number, usable }) => !usable && !told.has(number)));
  const all = [...fewFrames(stack, used), ...further];
  return byRank([...all.map((finding) => withFiles(finding, stack)), ...findings]);
}

function fewFrames({ frames, warnings }: Stack, used: readonly number[]): Finding[] {
  const kept = new Set(used);
  const numbers = frames.flatMap(({ number }) => (kept.has(number) ? [] : [number]));
  // Photographs that were lost, or have another size, never became frames.
  const beside = warnings.filter(({ kind }) => kind === 'lost' || kind === 'odd-size');
  const left = numbers.length + beside.length;
  const total = frames.length + beside.length;
  if (left <= mostLeftOut * total) return [];
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

/** Kinds that say the same of a picture: what lies between two planes of focus. */
const gapKinds: readonly FindingKind[] = ['missed-step', 'too-coarse-steps'];

/**
 * What spoils the picture by the full-size maps and was not seen on the reduced frames: the maps have the last word there.
 * What was seen before keeps its figures.
 *
 * @param shares By the maps.
 */
export function judgeMaps(findings: readonly Finding[], shares: CoverageShares, stack: Stack): Finding[] {
  const isToldOf = (kind: FindingKind) =>
    findings.some(
      (known) =>
        known.rank === 'spoils' &&
        (known.kind === kind || (gapKinds.includes(known.kind) && gapKinds.includes(kind))),
    );
  const further = coverageFindings(shares).filter(
    // Only a merge knows what its framing leaves out of reach.
    ({ kind, rank }) => kind === 'out-of-reach' || (rank === 'spoils' && !isToldOf(kind)),
  );
  const kinds = new Set(further.map(({ kind }) => kind));
  const kept = findings.filter(({ kind, rank }) => rank === 'spoils' || !kinds.has(kind));
  return byRank([...kept, ...further.map((finding) => withFiles(finding, stack))]);
}
