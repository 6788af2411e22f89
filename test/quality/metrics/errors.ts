import type { Raster } from '../raster.js';

/** Zones by distance to the nearest depth edge: up to 6 px, 6 to 30 px, elsewhere. */
export type ZoneMeans = [near: number, middle: number, elsewhere: number];

/** Differences of a result to the truth over the masked pixels, on the 8-bit scale (0 to 255). */
export interface ErrorFigures {
  /** 10 log10(255² / MSE) over the three channels, dB. */
  psnrDb: number;
  /** Mean absolute error over the channels in the three zones; NaN for an empty zone. */
  zoneMeans: ZoneMeans;
  /** Mean of result minus truth for red, green and blue. */
  colourShift: [number, number, number];
}

/** Zone of a distance to a depth edge, px: 0, 1 or 2. */
export function zoneOf(distancePx: number): 0 | 1 | 2 {
  if (distancePx <= 6) return 0;
  return distancePx <= 30 ? 1 : 2;
}

/** Measures `result` against `truth` (same size) where `mask` is non-zero. */
export function pixelErrors(
  result: Raster,
  truth: Raster,
  mask: Uint8Array,
  distancePx: Float32Array,
): ErrorFigures {
  const a = result.rgb;
  const b = truth.rgb;
  const sums = [0, 0, 0];
  const counts = [0, 0, 0];
  let red = 0;
  let green = 0;
  let blue = 0;
  let squares = 0;
  let count = 0;
  for (let i = 0, at = 0; i < mask.length; i++, at += 3) {
    if (mask[i] === 0) continue;
    const r = a[at] - b[at];
    const g = a[at + 1] - b[at + 1];
    const bl = a[at + 2] - b[at + 2];
    red += r;
    green += g;
    blue += bl;
    squares += r * r + g * g + bl * bl;
    count++;
    const zone = zoneOf(distancePx[i]);
    sums[zone] += Math.abs(r) + Math.abs(g) + Math.abs(bl);
    counts[zone]++;
  }
  const mean = (zone: number) => sums[zone] / counts[zone] / 3 / 257;
  return {
    psnrDb: 10 * Math.log10((65535 * 65535) / (squares / (3 * count))),
    zoneMeans: [mean(0), mean(1), mean(2)],
    colourShift: [red / count / 257, green / count / 257, blue / count / 257],
  };
}

/** Mean of a map over the masked pixels; NaN when there are none. */
export function maskedAverage(map: Float32Array, mask: Uint8Array): number {
  let sum = 0;
  let count = 0;
  for (let i = 0; i < mask.length; i++) {
    if (mask[i] === 0) continue;
    sum += map[i];
    count++;
  }
  return sum / count;
}
