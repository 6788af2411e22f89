import { median } from '../register/median.js';
import { directionCount } from './detail-grid.js';
import { clearOfNoise } from './focus-curves.js';
import type { TileCurves } from './tile-curves.js';

/** How a frame differs from its neighbours as a whole. */
export interface FrameShake {
  /**
   * How much more detail is lost in one direction than across it, ln energy, against the neighbours: defocus takes it
   * from all directions alike, a shake along its way. NaN with too little to compare.
   */
  uneven: number;
  /** Standard error of `uneven`, by how the tiles scatter about it; NaN as above. */
  unevenError: number;
  /** ln energy by which the tiles that are sharpest about here fall short of their neighbours; negative is sharper. NaN as above. */
  dip: number;
}

const fewestTiles = 12;

/** Compares each frame with those beside it, over tiles that are clear of noise in all of them. */
export function measureShake({ columns, rows, frames, energy }: TileCurves, noise: number): FrameShake[] {
  const tiles = columns * rows;
  const sum = (tile: number, k: number) => {
    const at = (tile * frames + k) * directionCount;
    return (energy[at] + energy[at + 1]) / 2;
  };
  /** ln of the ratio of one direction to the one across it: pair 0 upright, pair 1 diagonal. */
  const ratio = (tile: number, k: number, pair: number) => {
    const at = (tile * frames + k) * directionCount + 2 * pair;
    return Math.log(Math.max(energy[at] - noise, noise / 4) / Math.max(energy[at + 1] - noise, noise / 4));
  };
  return Array.from({ length: frames }, (_, k) => {
    const beside = [k - 1, k + 1].filter((other) => other >= 0 && other < frames);
    const pairs: [number[], number[]] = [[], []];
    /** At an end: the same against the line through the two frames next to it. */
    const bends: [number[], number[]] = [[], []];
    const beyond = frames < 3 ? undefined : k === 0 ? 2 : k === frames - 1 ? frames - 3 : undefined;
    const dips: number[] = [];
    for (let tile = 0; tile < tiles; tile++) {
      const clear = clearOfNoise * noise;
      if (!beside.every((other) => sum(tile, other) > clear) || Number.isNaN(sum(tile, k))) continue;
      if (beside.length === 2) {
        const level = (other: number) => Math.log(Math.max(sum(tile, other) - noise, noise / 2));
        const around = (level(k - 1) + level(k + 1)) / 2;
        if (isCrest(k, around, level)) dips.push(around - level(k));
      }
      if (!(sum(tile, k) > clear)) continue;
      for (const pair of [0, 1]) {
        const usual = beside.reduce((total, other) => total + ratio(tile, other, pair), 0) / beside.length;
        pairs[pair].push(ratio(tile, k, pair) - usual);
        if (beyond !== undefined && sum(tile, beyond) > clear)
          bends[pair].push(ratio(tile, k, pair) - 2 * usual + ratio(tile, beyond, pair));
      }
    }
    const middles = pairs.map(middleOf);
    const uneven = Math.hypot(...middles);
    // Upright grass, say, loses detail unevenly as it goes out of focus too, but from frame to frame alike.
    const bend = Math.hypot(...bends.map(middleOf));
    return {
      uneven: Number.isNaN(bend) ? uneven : Math.min(bend, uneven),
      unevenError: Math.hypot(...pairs.map((values, pair) => errorOf(values, middles[pair]))),
      dip: middleOf(dips),
    };
  });

  /** Whether the tile is sharper beside frame k than two frames away: it comes into focus about here. */
  function isCrest(k: number, around: number, level: (other: number) => number): boolean {
    return [k - 2, k + 2].every((other) => other < 0 || other >= frames || !(level(other) > around));
  }
}

function middleOf(values: readonly number[]): number {
  return values.length >= fewestTiles ? median(Float64Array.from(values)) : Number.NaN;
}

/** Standard error of a median: sqrt(pi / 2) deviations over sqrt(n), the deviation by the median of the absolute ones (normal law). */
function errorOf(values: readonly number[], middle: number): number {
  const spread = median(Float64Array.from(values, (value) => Math.abs(value - middle)));
  return (Math.sqrt(Math.PI / 2) * 1.4826 * spread) / Math.sqrt(values.length);
}
