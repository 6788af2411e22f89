import type { Size } from '../image/image.js';

/** Levels at which the nearer surface wins beside an edge; at coarser ones its blur no longer reaches. */
const nearLevels = 4;

/**
 * The surface for each level of a pyramid, finest first, halved again and again. Every coarser place is the
 * median of the 3 x 3 finer ones about it, so that a bristle does not speak for what lies behind it. Beside a
 * depth edge the nearer surface then wins over the reach of one finer pixel: in a frame sharp on the
 * farther one, the nearer one's blur lies over both, while in its own frame only the farther is blurred, which at
 * this level hardly shows.
 *
 * @param nearSign 1 when nearer means a lower ordinal, -1 when higher, 0 when unknown (then no side wins).
 */
export function coarsePlaces(
  place: Float32Array,
  sizes: readonly Size[],
  nearSign: -1 | 0 | 1,
): Float32Array[] {
  const levels = [place];
  let medians = place;
  const nine = new Float32Array(9);
  for (let level = 1; level < sizes.length; level++) {
    const fine = sizes[level - 1];
    const { width, height } = sizes[level];
    const median = new Float32Array(width * height);
    const near = nearSign !== 0 && level <= nearLevels ? new Float32Array(width * height) : median;
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < width; x++) {
        let count = 0;
        for (let j = -1; j <= 1; j++) {
          const row = Math.max(0, Math.min(fine.height - 1, 2 * y + j)) * fine.width;
          for (let i = -1; i <= 1; i++) {
            nine[count++] = medians[row + Math.max(0, Math.min(fine.width - 1, 2 * x + i))];
          }
        }
        nine.sort();
        const o = y * width + x;
        median[o] = nine[4];
        if (near !== median) near[o] = nearSign > 0 ? nine[0] : nine[8];
      }
    }
    levels.push(near);
    medians = median;
  }
  return levels;
}
