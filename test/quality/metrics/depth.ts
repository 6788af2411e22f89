import { localDeviation } from './box.js';
import { median } from './statistics.js';

/** Where the truth shows texture: standard deviation of its luma in 9x9 above 2/255. */
export function detailedMask(
  truthLuma: Float32Array,
  mask: Uint8Array,
  width: number,
  height: number,
): Uint8Array {
  const deviation = localDeviation(truthLuma, width, height, 4);
  return mask.map((inside, i) => (inside !== 0 && deviation[i] > 2 ? 1 : 0));
}

/**
 * Where depth can be asked for: the truth shows texture (see `detailedMask`), lies more than 3 px from a depth edge, and its depth is known and within half a step of the frames' range.
 */
export function texturedMask(
  truthLuma: Float32Array,
  depth: Float32Array,
  distancePx: Float32Array,
  mask: Uint8Array,
  range: readonly [number, number],
  width: number,
  height: number,
): Uint8Array {
  return detailedMask(truthLuma, mask, width, height).map((inside, i) =>
    inside !== 0 && distancePx[i] > 3 && depth[i] >= range[0] - 0.5 && depth[i] <= range[1] + 0.5 ? 1 : 0,
  );
}

/** Depth errors over textured pixels; a pixel without a depth counts as infinitely wrong. */
export interface DepthFigures {
  /** Median absolute error, steps. */
  medianSteps: number;
  /** Share of pixels off by more than 2 steps, percent. */
  offPercent: number;
}

/** Compares depth maps in steps, shape (rows, cols), over the pixels of `textured`. */
export function depthErrors(depth: Float32Array, truth: Float32Array, textured: Uint8Array): DepthFigures {
  const errors = new Float32Array(textured.reduce((sum, inside) => sum + inside, 0));
  let count = 0;
  let off = 0;
  for (let i = 0; i < textured.length; i++) {
    if (textured[i] === 0) continue;
    const error = Math.abs(depth[i] - truth[i]);
    errors[count++] = Number.isNaN(error) ? Number.POSITIVE_INFINITY : error;
    if (!(error <= 2)) off++;
  }
  return { medianSteps: median(errors), offPercent: (100 * off) / count };
}
