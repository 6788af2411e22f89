import type { Size } from '../image/image.js';
import { median, orderStatistic } from '../image/median.js';
import { extremeShare, neighbourFrames } from '../model/constants/model.js';
import type { FrameRecord } from './assemble-solution.js';
import { type CentredMotion, composeMotions, invertMotion } from './centred-motion.js';
import { readMoved, type TileGrid } from './tile-grid.js';

/**
 * Sharpness of every frame relative to the frames around it: 1 is equal, well below 1 is blurred or shaken.
 *
 * As the focus moves on, the energy of a tile increases and decreases, and its logarithm is concave near the peak:
 * where the frames before and after are sharp, the frame between them has at least the geometric mean of the two. The
 * ratio to that mean, over the tiles that both show sharpest and relative to the typical ratio around, is the
 * sharpness. The first, the last and unaligned frames are judged by their own share of fine detail.
 */
export function relativeSharpness(
  frames: readonly Pick<FrameRecord, 'fineShare' | 'energies'>[],
  motions: readonly (CentredMotion | undefined)[],
  grid: TileGrid | undefined,
  fullSize: Size,
  lights: readonly number[],
): number[] {
  const excess = frames.map((_, k) => {
    const before = k - 1;
    const after = k + 1;
    const [m, toBefore, toAfter] = [motions[k], motions[before], motions[after]];
    if (!grid || !m || !toBefore || !toAfter) return Number.NaN;
    const light = lights[k] / Math.sqrt(lights[before] * lights[after]);
    return Math.sqrt(
      light *
        energyRatio(
          frames[k].energies[0],
          grid,
          fullSize,
          { energies: frames[before].energies[0], motion: composeMotions(invertMotion(toBefore), m) },
          { energies: frames[after].energies[0], motion: composeMotions(invertMotion(toAfter), m) },
        ),
    );
  });
  return frames.map(({ fineShare }, k) => {
    const own = Number.isFinite(excess[k]);
    const values = own ? excess : frames.map((frame) => frame.fineShare);
    const around = values
      .slice(Math.max(0, k - neighbourFrames), k + neighbourFrames + 1)
      .filter(Number.isFinite);
    const typical = median(Float64Array.from(around));
    return typical > 0 ? (own ? excess[k] : fineShare) / typical : 1;
  });
}

interface Neighbour {
  energies: Float32Array;
  /** From the frame judged to this one. */
  motion: CentredMotion;
}

/** Energy of the frame over the geometric mean of its neighbours', summed over the tiles that these show sharpest. */
function energyRatio(
  energies: Float32Array,
  grid: TileGrid,
  fullSize: Size,
  before: Neighbour,
  after: Neighbour,
): number {
  const expected = new Float32Array(energies.length);
  for (let i = 0; i < expected.length; i++) {
    const one = readMoved(before.energies, grid, fullSize, before.motion, i);
    const other = readMoved(after.energies, grid, fullSize, after.motion, i);
    expected[i] = Math.sqrt(one * other);
  }
  const rank = Math.floor((1 - extremeShare) * expected.length);
  const minExpected = orderStatistic(new Float64Array(expected), rank);
  let own = 0;
  let around = 0;
  for (let i = 0; i < expected.length; i++) {
    if (expected[i] < minExpected) continue;
    own += energies[i];
    around += expected[i];
  }
  return around > 0 ? own / around : Number.NaN;
}
