import { median } from '../image/median.js';
import { maxBeyondEnd, maxStep, minStep } from '../model/constants/rail.js';
import { framePositions } from './frame-positions.js';
import type { StackEvidence } from './stack-reading.js';

/**
 * Distance of each frame's plane of focus from the one before it, in usual steps: `numbers.length - 1` values from 0.3
 * to 30. From the positions where they are given, else from the focus curves of the tiles: then at most 3, or as many
 * as the frame numbers imply.
 *
 * @param numbers Numbers of the frames in use, in capture order.
 * @param given Positions by frame number - 1, in whatever unit.
 */
export function frameSteps(
  numbers: readonly number[],
  evidence: Pick<StackEvidence, 'motion' | 'stackTravel'>,
  given: readonly number[] | undefined,
): number[] {
  const positions = given ? numbers.map((number) => given[number - 1]) : measuredPositions(numbers, evidence);
  const steps = positions.slice(1).map((position, i) => Math.abs(position - positions[i]));
  const typical = median(Float64Array.from(steps));
  const maxStepAt = (i: number) =>
    given ? maxStep : Math.min(maxStep, Math.max(maxBeyondEnd, numbers[i + 1] - numbers[i]));
  return steps.map((step, i) =>
    typical > 0 ? Math.min(maxStepAt(i), Math.max(minStep, step / typical)) : 1,
  );
}

function measuredPositions(
  numbers: readonly number[],
  { motion: { frames }, stackTravel: { curves, travel } }: Pick<StackEvidence, 'motion' | 'stackTravel'>,
): number[] {
  const indices = new Map(frames.map(({ number }, k) => [number, k]));
  const kept = numbers.map((number) => indices.get(number)!);
  return framePositions(curves, travel, kept, numbers);
}
