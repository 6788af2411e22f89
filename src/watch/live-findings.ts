import { minKnownSteps } from '../model/constants/rail.js';
import type { Finding, FindingKind } from '../result/finding.js';

/** Notes that hold of a complete stack only, or that are shown with every frame. */
const ofCompleteStacks = new Set<FindingKind>([
  'step',
  'direction',
  'too-few-frames',
  'needless-frames',
  'optics',
]);
/** Frames from which it says something that nothing has come into focus. */
const minFramesWithoutDetail = 12;
/** Frames of the first step that can be compared with others: what is missing in front is counted in steps. */
const firstStepFrames = minKnownSteps + 2;

/**
 * The findings that a stack shows while it is being shot: all but those that say only that it is not complete yet.
 *
 * @param last Number of the last frame.
 * @param count Frames that have been judged.
 */
export function whileShooting(findings: readonly Finding[], last: number, count: number): Finding[] {
  return findings.filter(({ kind, rank, frames }) => {
    if (rank === 'note' && ofCompleteStacks.has(kind)) return false;
    if (kind === 'no-detail') return count >= minFramesWithoutDetail;
    const isOpenEnd = kind === 'too-short-behind' || kind === 'too-short-in-front';
    return !(isOpenEnd && (frames[0] === last || count < firstStepFrames));
  });
}
