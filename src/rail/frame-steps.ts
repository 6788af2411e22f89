import { median } from '../image/median.js';
import { framePlaces, longestMeasuredStep, longestStep } from './frame-positions.js';
import type { StackEvidence } from './stack-reading.js';

/** Planes of focus nearer to each other than this many usual steps count as so far apart. */
const shortestStep = 0.4;

/**
 * Distance of each frame's plane of focus from the one before it, in usual steps: `numbers.length - 1` values from 0.4 to 30. From
 * the positions where they are given, else as the detail of the frames shows it: then at most 3, or as many as the frames'
 * numbers say were left out between them.
 *
 * @param numbers Of the frames in use, in capture order.
 */
export function frameSteps(
  numbers: readonly number[],
  evidence: Pick<StackEvidence, 'motion' | 'stackTravel'>,
  positionsMm: readonly number[] | undefined,
): number[] {
  const places = positionsMm
    ? numbers.map((number) => positionsMm[number - 1])
    : measuredPlaces(numbers, evidence);
  const steps = places.slice(1).map((place, i) => Math.abs(place - places[i]));
  const usual = median(Float64Array.from(steps));
  const most = (i: number) =>
    positionsMm
      ? longestStep
      : Math.min(longestStep, Math.max(longestMeasuredStep, numbers[i + 1] - numbers[i]));
  return steps.map((step, i) => (usual > 0 ? Math.min(most(i), Math.max(shortestStep, step / usual)) : 1));
}

function measuredPlaces(
  numbers: readonly number[],
  { motion: { frames }, stackTravel: { curves, travel } }: Pick<StackEvidence, 'motion' | 'stackTravel'>,
): number[] {
  const indices = new Map(frames.map(({ number }, k) => [number, k]));
  const kept = numbers.map((number) => indices.get(number)!);
  return framePlaces(curves, travel, kept, numbers);
}
