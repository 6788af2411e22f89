import { median } from '../image/median.js';
import type { LiveJudgement } from './live-stack.js';

/** Share of the tiles that are still coming into focus which the number of frames to go is meant for. */
const aheadShare = 0.9;
/** Estimates of the whole number of frames of which the median counts: one alone is off by half. */
const estimates = 5;

/** Frames to go as far as the pictures show. */
export interface ToGo {
  frames: number;
  /** Only that so many are missing at least is known: what comes into focus last is too blurred yet to be reckoned with. */
  isLeast: boolean;
}

/** Estimates from the pictures how many frames are to go, from one judgement to the next. */
export class FramesToGo {
  private readonly totals: number[] = [];

  /** Frames to go after this judgement; undefined where nothing is known to be coming into focus. */
  next({
    ahead,
    coverage,
    evidence,
  }: Pick<LiveJudgement, 'ahead' | 'coverage' | 'evidence'>): ToGo | undefined {
    const count = evidence.files.length;
    const sorted = (ahead ?? []).toSorted((one, other) => one - other);
    if (sorted.length > 0) {
      this.totals.push(count + sorted[Math.floor(aheadShare * (sorted.length - 1))]);
      if (this.totals.length > estimates) this.totals.shift();
    }
    // What lies just beyond the last frame is known better, but for the next three steps alone.
    const near = coverage.afterLast > 0 ? (coverage.missingAfter ?? 0) : 0;
    const far = sorted.length > 0 ? median(Float64Array.from(this.totals)) - count : 0;
    const frames = Math.ceil(Math.max(near, far));
    return frames > 0 ? { frames, isLeast: near >= far } : undefined;
  }
}
