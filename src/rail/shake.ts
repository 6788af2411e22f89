import { median, sigmaPerMad } from '../image/median.js';
import { minPeakOctaves, minSample } from '../model/constants/model.js';
import { minProminence } from '../model/constants/rail.js';
import { levelAboveNoise } from '../model/optical-model.js';
import { directionCount } from './detail-grid.js';
import type { TileCurves } from './tile-curves.js';

/** How the sharpness of a whole frame differs from its neighbours. */
export interface FrameShake {
  /**
   * How much more detail is lost along one direction than across it, ln energy, against the neighbours: defocus is
   * isotropic, shake is not. NaN with too few tiles to compare.
   */
  anisotropy: number;
  /** Standard error of `anisotropy` from the scatter of the tiles; NaN as above. */
  anisotropySigma: number;
  /**
   * Loss of the tiles that should peak in this frame against the mean of both neighbours, ln energy; negative when they
   * are sharper. NaN with too few such tiles: then the plane of focus hardly meets the subject.
   */
  dip: number;
}

/** Compares each frame with those beside it, over tiles with detail above noise in all of them. */
export function measureShake({ columns, rows, frames, energy }: TileCurves, noise: number): FrameShake[] {
  const tiles = columns * rows;
  const detection = 2 ** minPeakOctaves * noise;
  const sum = (tile: number, k: number) => {
    const at = (tile * frames + k) * directionCount;
    return (energy[at] + energy[at + 1]) / 2;
  };
  /** ln of the energy ratio of two perpendicular directions: pair 0 horizontal and vertical, pair 1 the diagonals. */
  const ratios = new Float64Array(tiles * frames * 2);
  for (let i = 0; i < ratios.length; i++) {
    const [one, other] = [energy[2 * i], energy[2 * i + 1]];
    ratios[i] = Math.log(Math.max(one - noise, noise / 4) / Math.max(other - noise, noise / 4));
  }
  const ratio = (tile: number, k: number, pair: number) => ratios[(tile * frames + k) * 2 + pair];
  return Array.from({ length: frames }, (_, k) => {
    const beside = [k - 1, k + 1].filter((other) => other >= 0 && other < frames);
    /** Differences from the neighbours, by pair of directions. */
    const pairs: [number[], number[]] = [[], []];
    const beyond = frames < 3 ? undefined : k === 0 ? 2 : k === frames - 1 ? frames - 3 : undefined;
    const others = beyond === undefined ? beside : [...beside, beyond];
    const byOther = others.map((): [number[], number[]] => [[], []]);
    const dips: number[] = [];
    for (let tile = 0; tile < tiles; tile++) {
      if (!beside.every((other) => sum(tile, other) > detection) || Number.isNaN(sum(tile, k))) continue;
      if (beside.length === 2) {
        const level = (other: number) => levelAboveNoise(sum(tile, other), noise);
        const sides = [level(k - 1), level(k + 1)];
        const around = (sides[0] + sides[1]) / 2;
        // On its flanks a focus curve is convex: an unshaken frame there lies below the mean of its neighbours.
        const comesIntoFocus = Math.abs(sides[0] - sides[1]) < minProminence && isCrest(k, around, level);
        if (comesIntoFocus) dips.push(around - level(k));
      }
      if (!(sum(tile, k) > detection)) continue;
      for (const pair of [0, 1]) {
        const reference =
          beside.reduce((total, other) => total + ratio(tile, other, pair), 0) / beside.length;
        pairs[pair].push(ratio(tile, k, pair) - reference);
        for (const [i, other] of others.entries()) {
          if (sum(tile, other) > detection)
            byOther[i][pair].push(ratio(tile, k, pair) - ratio(tile, other, pair));
        }
      }
    }
    const medians = pairs.map(medianOf);
    const length = Math.hypot(...medians);
    // A shaken frame differs from both neighbours in the same direction. A frame that differs from only one of them
    // lies where the blur changes its shape, for example beside the plane of focus of a lens with astigmatism. At an
    // end the next frame but one decides which of two is shaken.
    const projections = byOther.flatMap((values) => {
      const own = values.map(medianOf);
      const value = (own[0] * medians[0] + own[1] * medians[1]) / length;
      return Number.isNaN(value) ? [] : [value];
    });
    return {
      anisotropy: length > 0 ? Math.max(0, Math.min(length, ...projections)) : length,
      anisotropySigma: Math.hypot(...pairs.map((values, pair) => medianSigma(values, medians[pair]))),
      dip: medianOf(dips),
    };
  });

  /** Whether the tile is sharper beside frame k than two frames away, so that it peaks near k. */
  function isCrest(k: number, around: number, level: (other: number) => number): boolean {
    return [k - 2, k + 2].every((other) => other < 0 || other >= frames || !(level(other) > around));
  }
}

function medianOf(values: readonly number[]): number {
  return values.length >= minSample ? median(Float64Array.from(values)) : Number.NaN;
}

/**
 * Standard error of a median: sqrt(pi / 2) sigma / sqrt(n), with sigma from the median absolute deviation (normal law).
 */
function medianSigma(values: readonly number[], middle: number): number {
  const mad = median(Float64Array.from(values, (value) => Math.abs(value - middle)));
  return (Math.sqrt(Math.PI / 2) * sigmaPerMad * mad) / Math.sqrt(values.length);
}
