import { minDetailEnergy } from '../model/constants/register.js';
import type { BandLevel } from './band-pyramid.js';

/**
 * Indices of the reference's tiles that have detail in both frames, best first, at most `budget`. A tile qualifies when
 * the smaller of its two energies is above the noise, and when it lies inside the moving frame with a margin for
 * interpolation.
 */
export function chooseTiles(
  reference: BandLevel,
  moving: BandLevel,
  toMoving: (x: number, y: number) => [number, number],
  budget: number,
): number[] {
  const { tile, tilesX, tilesY, width, height } = reference;
  const minScore = reference.noiseEnergy + moving.noiseEnergy + minDetailEnergy;
  const ranks = new Float64Array(tilesX * tilesY);
  let count = 0;
  for (let ty = 0; ty < tilesY; ty++) {
    for (let tx = 0; tx < tilesX; tx++) {
      const [x, y] = toMoving(tx * tile, ty * tile);
      // Two pixels for the cubic, two for roll and for tiles pushed inward at the border.
      if (!(x >= 4 && y >= 4 && x + tile < width - 5 && y + tile < height - 5)) continue;
      const index = ty * tilesX + tx;
      const here = reference.tileEnergy[index];
      const nearX = Math.min(tilesX - 1, Math.round(x / tile));
      const nearY = Math.min(tilesY - 1, Math.round(y / tile));
      const there = moving.tileEnergy[nearY * tilesX + nearX];
      const score = Math.min(here, there);
      if (score < minScore) continue;
      ranks[count++] = rankOf(score, index);
    }
  }
  const best = ranks.subarray(0, count).sort().subarray(0, budget);
  return Array.from(best, (rank) => rank % indexSpan);
}

/** More than there are tiles. */
const indexSpan = 2 ** 21;
const scoreOf = new Float32Array(1);
const bitsOf = new Uint32Array(scoreOf.buffer);

/** A number to sort by: the larger the score, a positive single, the smaller; of equal scores by index. */
function rankOf(score: number, index: number): number {
  scoreOf[0] = score;
  return (2 ** 32 - 1 - bitsOf[0]) * indexSpan + index;
}
