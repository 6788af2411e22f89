import type { PairLink } from './solve-stack.js';
import { solveSymmetric } from './solve-symmetric.js';

/**
 * A pair shows outlines only where its error in scale is below this share of that in roll: the texture of a surface
 * determines both equally, but an edge that runs around the centre determines the scale only.
 */
const minErrorRatio = 0.9;
/** Uncertainty of the scale in that case, as a multiple of the excess of the roll's error over the scale's. */
const outlineSigmaRatio = 2;

/**
 * Adds uncertainty to the scale of pairs in which only outlines are sharp. As an outline goes out of focus it appears
 * to move across itself, because the shaded surface on one side and the ground on the other differ: all around a
 * subject it moves outwards, or inwards, and the picture seems to grow or shrink. However many tiles lie around the
 * centre like that, they agree. For frames that are not neighbours the uncertainty is the sum of those between, since
 * each change of the blur adds to it.
 */
export function withOutlineDoubts(links: readonly PairLink[]): PairLink[] {
  const sigmasPx = links.map(outlineSigmaPx);
  const between = new Map<number, number>();
  links.forEach(({ from, to }, i) => {
    if (to - from === 1) between.set(from, sigmasPx[i]);
  });
  return links.map((link, i) => {
    let sum = 0;
    for (let k = link.from; k < link.to; k++) sum += between.get(k) ?? 0;
    return { ...link, scaleDoubtPx: link.scaleDoubtPx + Math.max(sigmasPx[i], sum) };
  });
}

function outlineSigmaPx({ information }: PairLink): number {
  const excess = (minErrorRatio * sigmaOf(information, 1)) ** 2 - sigmaOf(information, 0) ** 2;
  return outlineSigmaRatio * Math.sqrt(Math.max(0, excess));
}

/** Standard deviation of unknown `k` by the information; 0 where it is undetermined. */
function sigmaOf(information: Float64Array, k: number): number {
  const unit = new Float64Array(4);
  unit[k] = 1;
  const column = solveSymmetric(information, unit, 4);
  return column ? Math.sqrt(column[k]) : 0;
}
