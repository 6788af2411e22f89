import { extremeShare } from '../model/constants/model.js';
import type { BandLevel } from './band-pyramid.js';

/**
 * RMS of the finest band in the frame's most detailed tenth of tiles (`detail`, 8-bit levels), and the same as a share
 * of the next coarser band's (`fineShare`): motion blur and shake lower it, light and contrast do not.
 */
export function frameDetail(levels: readonly BandLevel[]): { detail: number; fineShare: number } {
  const fine = topTenth(levels[0]);
  const coarse = topTenth(levels[Math.min(1, levels.length - 1)]);
  return { detail: fine, fineShare: fine / (coarse + 1e-3) };
}

function topTenth({ tileEnergy }: BandLevel): number {
  const sorted = tileEnergy.slice().sort();
  const from = Math.floor(sorted.length * (1 - extremeShare));
  let sum = 0;
  for (let i = from; i < sorted.length; i++) sum += sorted[i];
  return Math.sqrt(sum / Math.max(1, sorted.length - from));
}
