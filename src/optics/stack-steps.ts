/** Tolerance for the rounding of a quotient, which must not add a frame. */
const slack = 1e-9;

/**
 * Travel from frame to frame: depth of field × (1 − overlap). Common practice, no source; so is an overlap
 * of 20 to 35 %.
 *
 * @param overlapShare Share of a frame's depth that the next frame covers again, 0 to below 1.
 */
export function stepMm(depthOfFieldMm: number, overlapShare: number): number {
  return depthOfFieldMm * (1 - overlapShare);
}

/**
 * Overlap of frames one step apart: the inverse of `stepMm`. Negative when there are unsharp slabs between the frames.
 */
export function overlapOfStep(step: number, depthOfFieldMm: number): number {
  return 1 - step / depthOfFieldMm;
}

/** Frames from the front of the subject to its back or just beyond: ceil(depth / step) + 1. Common practice, no source. */
export function frameCount(subjectDepthMm: number, step: number): number {
  return Math.ceil((subjectDepthMm / step) * (1 - slack)) + 1;
}
