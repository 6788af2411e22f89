import { minSample, mixedTileSigma } from '../model/constants/model.js';
import { minStepSamples } from '../model/constants/rail.js';
import type { FocusCurves } from './focus-curves.js';
import { positionsOf } from './frame-positions.js';
import { fitSegment, type PeakSegment } from './peak-segments.js';

/** Trial lengths, usual steps. */
const trialLengths = Array.from({ length: 25 }, (_, i) => i / 8);
/** Best-fitting lengths of one step, in usual steps. */
export interface StepFit {
  /** Over all tiles that come into focus near the step. */
  length: number;
  /**
   * Over the tiles that peak before the step and over those that peak after it: the shorter and the longer of the two.
   */
  shorter: number;
  longer: number;
}

/**
 * Measures one step by the focus curves of the tiles that peak near it; undefined where there are too few.
 *
 * The change of the picture (`railTravel`) underestimates long steps, because many tiles pass through focus within them
 * or fall below the noise, and it is noisy where few tiles are sharp. A curve has its own height and width, so only the
 * right length puts both of its flanks on one parabola. Curves of tiles that contain two depths share an error on the
 * same flank, as do those near the ends of a stack: a length is confirmed where tiles on both sides of the step agree
 * on it.
 *
 * @param steps All steps in usual steps, none negative; the one at `k`, from frame k to the next, is not used.
 */
export function fitStep(
  { level }: FocusCurves,
  segments: readonly PeakSegment[],
  steps: readonly number[],
  k: number,
): StepFit | undefined {
  const sides: [PeakSegment[], PeakSegment[]] = [[], []];
  for (const segment of segments) {
    const { at, from, to } = segment;
    if (k - from + 1 < minStepSamples || to - k < minStepSamples) continue;
    // Not by the two frames themselves, which are equally sharp where no step was taken.
    sides[level[at + k - 1] > level[at + k + 2] ? 0 : 1].push(segment);
  }
  if (Math.min(...sides.map((side) => side.length)) < minSample) return undefined;
  const costs = trialLengths.map((length) => {
    const positions = positionsOf(steps.with(k, length));
    return sides.map((side) => side.reduce((sum, segment) => sum + costOf(level, segment, positions), 0));
  });
  const bestBy = (cost: (of: number[]) => number) => {
    const all = costs.map(cost);
    return trialLengths[all.indexOf(Math.min(...all))];
  };
  const [before, after] = [bestBy(([cost]) => cost), bestBy(([, cost]) => cost)];
  return {
    length: bestBy(([one, other]) => one + other),
    shorter: Math.min(before, after),
    longer: Math.max(before, after),
  };
}

/** Robust cost of Geman & McClure (Bull. Int. Stat. Inst. 52, 1987): a tile that fits no length has no influence. */
function costOf(level: Float32Array, segment: PeakSegment, positions: readonly number[]): number {
  const fit = fitSegment(level, segment, positions);
  return fit ? 1 - 1 / (1 + (fit.misfit / mixedTileSigma) ** 2) : 1;
}
