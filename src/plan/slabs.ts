import type { StackPlan } from './stack-plan.js';

/** The slab that one frame shows sharp; mm from the front of the subject, farther away from the camera. */
export interface Slab {
  /** From 1. */
  frame: number;
  focusMm: number;
  fromMm: number;
  toMm: number;
}

/** The slab of a frame of a plan, by its number; the first frame is focused on the front of the subject. */
export function slabOf({ depth, step }: StackPlan, frame: number): Slab {
  const focusMm = (frame - 1) * step.mm;
  // Waves add as much on either side; the part of rays reaches a little farther behind the plane of focus than before it.
  const byWaves = depth.wave.totalMm / 2;
  return {
    frame,
    focusMm,
    fromMm: focusMm - depth.geometric.nearMm - byWaves,
    toMm: focusMm + depth.geometric.farMm + byWaves,
  };
}

/** The slabs of all frames, the nearest first. */
export function slabsOf(plan: StackPlan): Slab[] {
  return Array.from({ length: plan.frames }, (_, k) => slabOf(plan, k + 1));
}
