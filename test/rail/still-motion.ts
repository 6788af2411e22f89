import { identityMatrix } from '../../src/image/transform.js';
import type { FrameMotion } from '../../src/register/motion-solution.js';

/** Motion of a frame that was not moved, in good order but for what is given. */
export function stillMotion(number: number, given: Partial<FrameMotion> = {}): FrameMotion {
  return {
    number,
    usable: true,
    similarity: { scale: 1, rollRad: 0, shiftXPx: 0, shiftYPx: 0 },
    matrix: identityMatrix,
    residualPx: 0.1,
    scaleResidual: 0,
    sharpness: 1,
    detail: 10,
    sameAsPrevious: false,
    gainRatio: [1, 1, 1],
    ...given,
  };
}
