import type { PairLink } from './solve-stack.js';
import { solveSymmetric } from './solve-symmetric.js';

/**
 * A pair shows outlines alone where its error in scale is below this share of that in roll: the texture of a surface tells
 * both alike, but an edge that runs around the middle tells only the one.
 */
const ringShare = 0.9;
/** How far the scale may be off then, as a multiple of what the roll's error exceeds the scale's by. */
const outlineFactor = 2;

/**
 * Doubts the scale of pairs in which outlines alone are sharp. As an outline goes out of focus it seems to move across
 * itself, for a surface shaded towards its rim and the ground behind it are unlike: all around a subject it moves
 * outwards, or inwards, and the picture seems to grow or shrink. However many tiles lie around the middle like that, they
 * agree. For frames that are not neighbours the doubt is the sum of those between, for each change of the blur adds to it.
 */
export function withOutlineDoubts(links: readonly PairLink[]): PairLink[] {
  const doubtsPx = links.map(outlineDoubtPx);
  const between = new Map<number, number>();
  links.forEach(({ from, to }, i) => {
    if (to - from === 1) between.set(from, doubtsPx[i]);
  });
  return links.map((link, i) => {
    let sum = 0;
    for (let k = link.from; k < link.to; k++) sum += between.get(k) ?? 0;
    return { ...link, scaleDoubtPx: link.scaleDoubtPx + Math.max(doubtsPx[i], sum) };
  });
}

function outlineDoubtPx({ information }: PairLink): number {
  const excess = (ringShare * errorPx(information, 1)) ** 2 - errorPx(information, 0) ** 2;
  return outlineFactor * Math.sqrt(Math.max(0, excess));
}

/** The standard deviation that the information leaves unknown `k`; 0 where it leaves all open. */
function errorPx(information: Float64Array, k: number): number {
  const unit = new Float64Array(4);
  unit[k] = 1;
  const column = solveSymmetric(information, unit, 4);
  return column ? Math.sqrt(column[k]) : 0;
}
