import { lightOfSrgb } from './srgb.js';

/**
 * From samples to light: light(v) = v (c1 + v (c2 + v c3)), v and light 0..1 of full range, c1 + c2 + c3 = 1. Rises from
 * 0 to 1 with a slope that is never 0, so that samples follow from light.
 */
export type TransferCurve = readonly [c1: number, c2: number, c3: number];

/** Samples that are light themselves. */
export const linearCurve: TransferCurve = [1, 0, 0];

/** Minimum slope at black: a flatter curve would turn the rounding of light into steps of dark samples. */
const minSlope = 0.02;

/**
 * The curve nearest to `light`, an increasing function of 0..1 onto 0..1, by least squares of the difference in samples.
 * That of sRGB differs by 0.7 of 255 (root mean square), at most by 2.4, in the darkest tenth.
 */
export function fitCurve(light: (v: number) => number): TransferCurve {
  const count = 255;
  // With c3 = 1 - c1 - c2, the unknowns are c1 and c2: normal equations of two.
  let [aa, ab, bb, ar, br] = [0, 0, 0, 0, 0];
  for (let i = 1; i < count; i++) {
    const v = i / count;
    const slope = (light(v + 0.5 / count) - light(v - 0.5 / count)) * count;
    const weight = 1 / Math.max(0.05, slope) ** 2;
    const [a, b, r] = [v - v ** 3, v ** 2 - v ** 3, light(v) - v ** 3];
    aa += weight * a * a;
    ab += weight * a * b;
    bb += weight * b * b;
    ar += weight * a * r;
    br += weight * b * r;
  }
  const free = (ar * bb - br * ab) / (aa * bb - ab * ab);
  const c1 = Math.max(minSlope, free);
  const c2 = (br - c1 * ab) / bb;
  return [c1, c2, 1 - c1 - c2];
}

export const srgbCurve: TransferCurve = fitCurve(lightOfSrgb);

/** The coefficients as kernels take them. */
export function curveArguments([curve1, curve2, curve3]: TransferCurve) {
  return { curve1, curve2, curve3 };
}
