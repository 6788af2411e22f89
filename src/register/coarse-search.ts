import { pieceKernels } from '../kernels/piece-kernels.js';
import { maxMotion } from '../model/constants/register.js';
import type { BandLevel } from './band-pyramid.js';

/**
 * Exhaustive search for the shift (reference pixel (x, y) lies at (x + dx, y + dy) in moving) that correlates best over
 * the overlap. Values are first compressed to b / (|b| + rms), so that a few strong edges or specks do not dominate.
 */
export function searchShift(reference: BandLevel, moving: BandLevel): { dx: number; dy: number } {
  const { width, height } = reference;
  const kernels = pieceKernels();
  const room = [Float32Array, width * height] as const;
  const [one, other] = kernels.take(room, room);
  compress(reference, one);
  compress(moving, other);
  const searchRadius = Math.max(2, Math.ceil(maxMotion * width) + 1);
  const radiusX = Math.min(searchRadius, Math.floor(width / 3));
  const radiusY = Math.min(searchRadius, Math.floor(height / 3));
  let best = { dx: 0, dy: 0, correlation: -1 };
  for (let dy = -radiusY; dy <= radiusY; dy++) {
    for (let dx = -radiusX; dx <= radiusX; dx++) {
      // Every second row: neighbouring rows of a band are highly correlated.
      const correlation = kernels.correlateShift({ one, other, width, height, dx, dy });
      if (correlation > best.correlation) best = { dx, dy, correlation };
    }
  }
  return best;
}

/** (height, width) without the padding of the rows, into memory. */
function compress({ band, stride, width, height }: BandLevel, out: Float32Array): void {
  for (let y = 0; y < height; y++) out.set(band.subarray(y * stride, y * stride + width), y * width);
  let power = 0;
  for (const value of out) power += value * value;
  const rms = Math.sqrt(power / out.length) + 1e-3;
  for (let i = 0; i < out.length; i++) out[i] /= Math.abs(out[i]) + rms;
}
