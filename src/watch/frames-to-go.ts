import { median } from '../image/median.js';
import type { LiveJudgement } from './live-stack.js';

/** Share of the detail, in focus already or coming, which the number of frames to go is meant for. */
const aimedShare = 0.9;
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
    // What lies just beyond the last frame is known better, but for the next three steps alone.
    const near = coverage.afterLast > 0 ? (coverage.missingAfter ?? 0) : 0;
    let far = 0;
    if (ahead) {
      const { noDetail, afterLast } = coverage;
      const sorted = ahead.distances.toSorted((one, other) => one - other);
      // A few tiles always seem to be coming: the blur of something else grows in them.
      const inFocus = (ahead.tiles * (100 - noDetail - afterLast)) / 100;
      const spared = Math.floor((1 - aimedShare) * (inFocus + sorted.length));
      far = sorted[sorted.length - 1 - spared] ?? 0;
      this.totals.push(count + Math.max(near, far));
      if (this.totals.length > estimates) this.totals.shift();
      if (far > 0) far = median(Float64Array.from(this.totals)) - count;
    }
    const frames = Math.ceil(Math.max(near, far));
    return frames > 0 ? { frames, isLeast: near >= far } : undefined;
  }
}
