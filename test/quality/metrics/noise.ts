import { maskedMean } from './box.js';
import { robustDeviation } from './statistics.js';

/**
 * Noise of a luma plane in a mask of plain background, on the plane's scale: robust standard deviation of the
 * luma minus its own mean over the masked part of a 25x25 box. NaN for an empty mask.
 */
export function backgroundNoise(
  luma: Float32Array,
  background: Uint8Array,
  width: number,
  height: number,
): number {
  if (!background.includes(1)) return Number.NaN;
  const smooth = maskedMean(luma, background, width, height, 12);
  const residuals: number[] = [];
  for (let i = 0; i < background.length; i++) if (background[i] !== 0) residuals.push(luma[i] - smooth[i]);
  return robustDeviation(residuals);
}
