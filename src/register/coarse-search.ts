import { maxMotion } from '../model/constants/register.js';
import type { BandLevel } from './band-pyramid.js';

/** A whole-pixel shift between two coarsest levels and its normalised correlation, -1 to 1. */
export interface CoarseShift {
  dx: number;
  dy: number;
  correlation: number;
}

/**
 * Exhaustive search for the shift (reference pixel (x, y) lies at (x + dx, y + dy) in moving) that correlates best over
 * the overlap. Values are first compressed to b / (|b| + rms), so that a few strong edges or specks do not dominate.
 */
export function searchShift(reference: BandLevel, moving: BandLevel, searchScale = 1): CoarseShift {
  const { width, height } = reference;
  const ref = compress(reference);
  const mov = compress(moving);
  const searchRadius = Math.max(2, Math.ceil(maxMotion * searchScale * width) + 1);
  const radiusX = Math.min(searchRadius, Math.floor(width / 3));
  const radiusY = Math.min(searchRadius, Math.floor(height / 3));
  let best: CoarseShift = { dx: 0, dy: 0, correlation: -1 };
  for (let dy = -radiusY; dy <= radiusY; dy++) {
    const yFrom = Math.max(0, -dy);
    const yTo = Math.min(height, height - dy);
    for (let dx = -radiusX; dx <= radiusX; dx++) {
      const xFrom = Math.max(0, -dx);
      const xTo = Math.min(width, width - dx);
      let cross = 0;
      let refPower = 0;
      let movPower = 0;
      // Every second row: neighbouring rows of a band are highly correlated.
      for (let y = yFrom; y < yTo; y += 2) {
        const offset = (y + dy) * width + dx;
        const start = y * width;
        for (let x = xFrom; x < xTo; x++) {
          const r = ref[start + x];
          const m = mov[offset + x];
          cross += r * m;
          refPower += r * r;
          movPower += m * m;
        }
      }
      const correlation = cross / Math.sqrt(refPower * movPower + 1e-12);
      if (correlation > best.correlation) best = { dx, dy, correlation };
    }
  }
  return best;
}

/** (height, width) without the padding of the rows. */
function compress({ band, stride, width, height }: BandLevel): Float32Array {
  const out = new Float32Array(width * height);
  for (let y = 0; y < height; y++) out.set(band.subarray(y * stride, y * stride + width), y * width);
  let power = 0;
  for (const value of out) power += value * value;
  const rms = Math.sqrt(power / out.length) + 1e-3;
  return out.map((value) => value / (Math.abs(value) + rms));
}
