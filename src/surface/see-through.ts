import type { FocusCurves } from '../focus/focus-curves.js';
import { windowRadius } from '../model/constants/focus.js';
import { minApartFrames } from '../model/constants/model.js';
import { blockPx, minReliabilityScale, reliabilityCount, seenLevels } from '../model/constants/surface.js';
import type { PictureEvidence } from '../stack/focus-direction.js';
import { measureBlur } from './measure-blur.js';

/** Placements of the blocks, in blocks: where the edge of a block divides a patch is chance, and the mean is taken. */
const blockOffsets = [0, 0.5].flatMap((down) => [0, 0.5].map((right) => ({ right, down })));
/**
 * Scales of the votes' reliability: of blocks with a sum of votes v, (v + scale) / (v + 2 scale) point to the near end.
 * Small scales are the more usual ones: of 48 stacks of the scenes for tuning 23 have one of 0.3 or less, 5 one of more
 * than 1.2.
 */
const reliabilityScales = Array.from({ length: reliabilityCount }, (_, i) => ({
  scale: minReliabilityScale * 2 ** i,
  prior: 2 ** -i,
}));

/**
 * Which end of the stack the pictures show to be near. Where a near thing is out of focus its rim is spread and half
 * transparent, and the far side's sharp detail shows through it; a near edge in focus lets nothing through, and blur of
 * the far side never lies over it. So beside a depth edge, where one side is sharp in frame a and the other in frame b:
 *
 *   detail of b on the side of a, none of a on the side of b:  a is near
 *
 * and the reverse. The second peaks of the focus curves show both. (Occlusion by a lens: N. Asada, H. Fujiwara &
 * T. Matsuyama, Edge and depth from focus, Int. J. Computer Vision 26, 1998.)
 *
 * It fails, by giving no evidence, where nothing with detail lies behind anything: a plane, a lone ball before a plain
 * ground, steps between near and far narrower than the focus measure's window is blurred there.
 *
 * To be asked before the surface is made of the curves. Undefined when too few of them stand out to say how wide the blur
 * is.
 *
 * @param frames Number of frames.
 */
export function seeThrough(curves: FocusCurves, frames: number): PictureEvidence | undefined {
  const blurPx = measureBlur(curves, frames);
  if (blurPx === undefined) return undefined;
  const { width, height } = curves.state[0];
  const columns = Math.ceil(width / blockPx) + 1;
  const rows = Math.ceil(height / blockPx) + 1;
  const sums = blockOffsets.map(() => new Float64Array(columns * rows));
  for (let level = 0; level < Math.min(seenLevels, curves.levels); level++) {
    const apart = sideDistance(level + curves.finest, blurPx);
    for (const { x, y, vote } of curves.siteVotes(level, frames, apart)) {
      for (const [i, { right, down }] of blockOffsets.entries()) {
        const column = Math.floor((x << level) / blockPx + right);
        const row = Math.floor((y << level) / blockPx + down);
        sums[i][row * columns + column] += vote;
      }
    }
  }
  const found = sums.map(weighVotes);
  const blocks = mean(found.map((placed) => placed.blocks));
  return {
    z: significance(standardErrors(mean(found.map(({ z }) => (z * Math.abs(z)) / 2))), blocks),
    agreement: mean(found.map(({ agreement }) => agreement)),
    blocks: Math.round(blocks),
    blurPx,
  };
}

/**
 * Least distance of the two sides of an edge at a site of a level, frames: a rim that is blurred by less than the window of
 * the measure shows nothing beyond its leak.
 */
export function sideDistance(level: number, blurPx: number): number {
  return Math.max(minApartFrames, Math.ceil((windowRadius * 2 ** level) / blurPx));
}

/** Evidence of the blocks' sums of votes. */
export function weighVotes(sums: Iterable<number>): Omit<PictureEvidence, 'blurPx'> {
  const votes = Array.from(sums).filter((sum) => sum !== 0);
  const total = votes.reduce((sum, vote) => sum + vote, 0);
  const absolute = votes.reduce((sum, vote) => sum + Math.abs(vote), 0);
  return {
    z: standardErrors(logLikelihood(votes, 1) - logLikelihood(votes, -1)),
    agreement: absolute === 0 ? 0 : Math.abs(total) / absolute,
    blocks: votes.length,
  };
}

/**
 * Log likelihood of the signs of votes, where the near end is the one of this sign. How reliable the blocks of this stack
 * are is not known: the mean over all scales (a Bayes factor: R. E. Kass & A. E. Raftery, Bayes factors, J. Amer.
 * Statist. Assoc. 90, 1995), so that strong votes which contradict each other make both signs equally likely.
 */
function logLikelihood(votes: readonly number[], sign: number): number {
  const logs = reliabilityScales.map(({ scale, prior }) =>
    votes.reduce((sum, vote) => {
      const size = Math.abs(vote);
      return sum + Math.log((vote * sign > 0 ? size + scale : scale) / (size + 2 * scale));
    }, Math.log(prior)),
  );
  const largest = Math.max(...logs);
  return largest + Math.log(logs.reduce((sum, log) => sum + Math.exp(log - largest), 0));
}

/**
 * Standard errors of a normal distribution that are as improbable as so many of blocks whose reliability is known from
 * themselves alone: Student's t with a degree of freedom fewer than blocks (upper bound of D. L. Wallace, Bounds on normal
 * approximations to Student's and the chi-square distributions, Ann. Math. Statist. 30, 1959). One peak of noise in a plane
 * votes in two or three blocks, and large votes of so few are no evidence.
 */
export function significance(z: number, blocks: number): number {
  const freedom = blocks - 1;
  return freedom > 0 ? Math.sign(z) * Math.sqrt(freedom * Math.log1p(z ** 2 / freedom)) : 0;
}

function mean(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0) / values.length;
}

/** Standard errors of a normal distribution whose error is as improbable: odds of B to 1 are sqrt(2 ln B). */
function standardErrors(logOdds: number): number {
  return Math.sign(logOdds) * Math.sqrt(2 * Math.abs(logOdds));
}
