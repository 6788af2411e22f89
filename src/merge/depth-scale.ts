import type { GivenTravel } from '../rail/given-travel.js';
import type { DepthUnit } from '../result/run-record.js';
import type { Direction } from '../stack/focus-direction.js';
import type { UsedFrame } from './used-frame.js';

/** From depth indices to depth. */
export interface DepthScale {
  unit: DepthUnit;
  /** Depth of the plane of focus of each frame in use, by ordinal - 1. */
  planes: Float64Array;
  /** Depth at a fractional ordinal; beyond the ends the last step goes on. */
  depthAt(depthIndex: number): number;
}

/**
 * Depth of each frame's plane of focus: distance from the anchor's along the axis, positive away from the
 * camera; in millimetres when the rail's steps are known, else in steps (frames of the full stack). Which way positions
 * count says nothing of the subject: the direction alone tells which end is near.
 */
export function depthScale(
  frames: readonly UsedFrame[],
  anchorOrdinal: number,
  direction: Direction,
  options: GivenTravel,
): DepthScale {
  const { stepMm, positionsMm, relativePositions } = options;
  const positions = positionsMm ?? (relativePositions && inMeanSteps(relativePositions));
  const raw = frames.map(({ file: { number } }) =>
    positions ? positions[number - 1] : (number - 1) * (stepMm ?? 1),
  );
  const along = raw.at(-1)! >= raw[0] ? 1 : -1;
  const away = direction === 'far-to-near' ? -1 : 1;
  const planes = Float64Array.from(raw, (at) => away * along * (at - raw[anchorOrdinal - 1]));
  return {
    unit: stepMm !== undefined || positionsMm ? 'mm' : 'step',
    planes,
    depthAt: (depthIndex) => depthAt(planes, depthIndex),
  };
}

/** Depth at a fractional ordinal between planes of focus; beyond the ends the last step goes on. */
export function depthAt(planes: ArrayLike<number>, depthIndex: number): number {
  const below = Math.max(0, Math.min(planes.length - 2, Math.floor(depthIndex) - 1));
  return planes[below] + (depthIndex - 1 - below) * (planes[below + 1] - planes[below]);
}

/** Positions whose mean difference is 1. */
function inMeanSteps(positions: readonly number[]): number[] {
  const mean = Math.abs(positions.at(-1)! - positions[0]) / (positions.length - 1);
  return positions.map((position) => position / mean);
}
