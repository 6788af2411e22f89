import { median } from '../image/median.js';
import { minLongStep, minSample, mixedTileSigma, railStepSigma } from '../model/constants/model.js';
import {
  convergedChange,
  damping,
  minStep,
  positionRounds,
  tilesPerEffectiveSample,
} from '../model/constants/rail.js';
import { SymmetricBand } from '../register/symmetric-band.js';
import type { FocusCurves } from './focus-curves.js';
import { fitSegment, type PeakSegment, peakSegments } from './peak-segments.js';
import type { RailTravel } from './rail-travel.js';

/**
 * Positions along the rail of the frames that are kept, in usual steps; the first is at 0, and they increase.
 *
 * Each tile comes into focus once, and its energy to the power -1/2 is then a parabola over the positions of the
 * frames. Curves and positions are fitted in turn (least squares), with steps of the usual length as prior. The
 * distance between frames is accurate to some 2 % of a step on a plane and to 5 % on subjects with occlusions, which is
 * within the tolerance of a rail; slow changes of the step over many frames are not observable. Long steps come from
 * `railTravel`; beyond `maxBeyondEnd` their length is unknown.
 *
 * @param kept Indices of the frames, in order.
 * @param numbers Numbers of the same frames: each number that is left out adds a step.
 */
export function framePositions(
  { frames, level, ...rest }: FocusCurves,
  travel: RailTravel,
  kept: readonly number[],
  numbers: readonly number[],
): number[] {
  const count = kept.length;
  const expected = expectedSteps(travel, kept, numbers);
  const positions = positionsOf(expected);
  const own = new Float32Array((level.length / frames) * count);
  for (let from = 0, to = 0; from < level.length; from += frames) {
    for (const k of kept) own[to++] = level[from + k];
  }
  const curves = { ...rest, level: own, frames: count };
  const segments = peakSegments(curves);
  if (segments.length < minSample) return positions;
  let found = positions;
  for (let round = 0; round < positionRounds; round++) {
    const next = refinePositions(curves, segments, found, expected);
    if (!next) return positions;
    const change = Math.max(...next.map((position, k) => Math.abs(position - found[k])));
    found = next;
    if (change < convergedChange) break;
  }
  return positionsOf(found.slice(1).map((position, k) => Math.max(minStep, position - found[k])));
}

/** Prior steps between the frames that are kept: one usual step, unless a longer one is known. */
function expectedSteps({ steps }: RailTravel, kept: readonly number[], numbers: readonly number[]): number[] {
  return kept.slice(1).map((to, i) => {
    let between = 0;
    for (let k = kept[i]; k < to; k++) between += steps[k] >= minLongStep ? steps[k] : 1;
    return Math.max(between, numbers[i + 1] - numbers[i]);
  });
}

/** Positions from the first frame on; steps that are not known count as one. */
export function positionsOf(steps: readonly number[]): number[] {
  const positions = [0];
  for (const step of steps) positions.push(positions.at(-1)! + (Number.isNaN(step) ? 1 : step));
  return positions;
}

/** One Gauss-Newton round: fits the tiles' curves over the positions, then moves the positions by the residuals. */
function refinePositions(
  { frames, level }: FocusCurves,
  segments: readonly PeakSegment[],
  positions: readonly number[],
  expected: readonly number[],
): number[] | undefined {
  const gradient = new Float64Array(frames);
  const curvature = new Float64Array(frames);
  const misfits: number[] = [];
  for (const segment of segments) {
    const fit = fitSegment(level, segment, positions);
    if (!fit) continue;
    const { from, to } = segment;
    const { residuals, gradients, misfit } = fit;
    const weight = 1 / (1 + (misfit / mixedTileSigma) ** 2);
    for (let k = from; k <= to; k++) {
      gradient[k] += weight * residuals[k - from] * gradients[k - from];
      curvature[k] += weight * gradients[k - from] ** 2;
    }
    misfits.push(misfit);
  }
  if (misfits.length < minSample) return undefined;
  const misfitSigma = Math.max(Number.EPSILON, median(Float64Array.from(misfits)));
  const precision = 1 / (misfitSigma * misfitSigma * tilesPerEffectiveSample);
  const normal = new SymmetricBand(frames, 1);
  const right = new Float64Array(frames);
  for (let k = 0; k < frames; k++) {
    // The first frame is fixed, since a common shift is unobservable.
    const ownWeight = precision * curvature[k] + (k === 0 ? 1 : 1e-9);
    normal.add(k, k, ownWeight);
    right[k] += ownWeight * positions[k] + damping * precision * gradient[k];
  }
  expected.forEach((step, k) => {
    normal.addDifference(k, k + 1, step, 1 / (railStepSigma * step) ** 2, right);
  });
  const solved = normal.solve(right);
  if (!solved) return undefined;
  const unit = median(Float64Array.from(expected, (_, k) => solved[k + 1] - solved[k]));
  if (!(unit > 0)) return undefined;
  return Array.from(solved, (position) => (position - solved[0]) / unit);
}
