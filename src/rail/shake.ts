import { median } from '../image/median.js';
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
  /**
   * ln energy by which the tiles that come into focus in this frame fall short of both neighbours; negative is sharper. NaN
   * with too few such tiles: then the frame has no plane of focus in the subject, or next to none, and shows no dip.
   */
  dip: number;
}

const fewestTiles = 12;
/**
 * A tile comes into focus in a frame when the frames on either side show it about equally sharp: ln energy that they may
 * differ by. Half a step out of focus curves of 0.4 to 2 usual steps differ by 0.7 to 2.
 */
const evenSides = 1.5;

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
    /** Differences from the neighbours, by pair of directions. */
    const pairs: [number[], number[]] = [[], []];
    /** At an end: the same against the line through the two frames next to it. */
    const bends: [number[], number[]] = [[], []];
    const beyond = frames < 3 ? undefined : k === 0 ? 2 : k === frames - 1 ? frames - 3 : undefined;
    const others = beyond === undefined ? beside : [...beside, beyond];
    const byOther = others.map((): [number[], number[]] => [[], []]);
    const dips: number[] = [];
    for (let tile = 0; tile < tiles; tile++) {
      const clear = clearOfNoise * noise;
      if (!beside.every((other) => sum(tile, other) > clear) || Number.isNaN(sum(tile, k))) continue;
      if (beside.length === 2) {
        const level = (other: number) => Math.log(Math.max(sum(tile, other) - noise, noise / 2));
        const sides = [level(k - 1), level(k + 1)];
        const around = (sides[0] + sides[1]) / 2;
        // Beside its plane of focus a tile's curve is bent upward: a frame there lies below the mean of its neighbours unshaken.
        const comesIntoFocus = Math.abs(sides[0] - sides[1]) < evenSides && isCrest(k, around, level);
        if (comesIntoFocus) dips.push(around - level(k));
      }
      if (!(sum(tile, k) > clear)) continue;
      for (const pair of [0, 1]) {
        const usual = beside.reduce((total, other) => total + ratio(tile, other, pair), 0) / beside.length;
        pairs[pair].push(ratio(tile, k, pair) - usual);
        for (const [i, other] of others.entries()) {
          if (sum(tile, other) > clear)
            byOther[i][pair].push(ratio(tile, k, pair) - ratio(tile, other, pair));
        }
        if (beyond !== undefined && sum(tile, beyond) > clear)
          bends[pair].push(ratio(tile, k, pair) - 2 * usual + ratio(tile, beyond, pair));
      }
    }
    const middles = pairs.map(middleOf);
    const length = Math.hypot(...middles);
    // A shaken frame differs from both neighbours, and the same way. One that only differs from one of them lies where the
    // blur changes its shape: beside the plane of focus of a lens with astigmatism, say. At an end the next but one tells
    // which of two is shaken.
    const along = byOther.flatMap((values) => {
      const own = values.map(middleOf);
      const value = (own[0] * middles[0] + own[1] * middles[1]) / length;
      return Number.isNaN(value) ? [] : [value];
    });
    const uneven = length > 0 ? Math.max(0, Math.min(length, ...along)) : length;
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
