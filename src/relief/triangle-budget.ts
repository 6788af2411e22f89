import type { Refinement } from './refinement.js';

/** Rounds of halving the range of tolerances: the last is some thousandth of the first. */
const rounds = 24;

/**
 * The smallest tolerance at which a surface takes no more than so many triangles; undefined when its depth edges alone
 * take more.
 *
 * @param finest Tolerance below which nothing is gained.
 */
export function fitTolerance(
  refinement: Refinement,
  maxTriangles: number,
  finest: number,
): number | undefined {
  if (refinement.count(finest, maxTriangles) <= maxTriangles) return finest;
  let coarse = Math.max(finest, refinement.coarsest);
  if (refinement.count(coarse, maxTriangles) > maxTriangles) return undefined;
  // By ratios: errors span orders of magnitude.
  let fine = finest;
  for (let round = 0; round < rounds && coarse / fine > 1.001; round++) {
    const middle = Math.sqrt(coarse * fine);
    if (refinement.count(middle, maxTriangles) <= maxTriangles) coarse = middle;
    else fine = middle;
  }
  return coarse;
}
