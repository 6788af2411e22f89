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

/** The findings that a stack shows while it is being shot: all but those that say only that it is not complete yet. */
export class LiveFindings {
  /** Kinds of findings about an end, with the number of frames from which on they have been found. */
  private ends = new Map<FindingKind, number>();

  /**
   * The findings that are shown of those of a judgement.
   *
   * @param last Number of the last frame.
   * @param count Frames that have been judged.
   */
  next(findings: readonly Finding[], last: number, count: number): Finding[] {
    const shown = findings.filter(({ kind, rank, frames }) => {
      if (rank === 'note' && ofCompleteStacks.has(kind)) return false;
      if (kind === 'no-detail') return count >= minFramesWithoutDetail;
      return !(isOfEnd(kind) && (frames[0] === last || count < firstStepFrames));
    });
    const found = new Map(
      shown.flatMap(({ kind }) => (isOfEnd(kind) ? [[kind, this.ends.get(kind) ?? count] as const] : [])),
    );
    this.ends = found;
    // What hardly reaches beyond the first frame shows in a dozen tiles, and their number varies: a frame more confirms it.
    return shown.filter(({ kind, rank }) => !(isOfEnd(kind) && rank === 'flaw' && found.get(kind) === count));
  }
}

function isOfEnd(kind: FindingKind): boolean {
  return kind === 'too-short-behind' || kind === 'too-short-in-front';
}
