import { median, sigmaPerMad } from '../image/median.js';
import { confirmedSigmas, minSample, railStepSigma } from '../model/constants/model.js';
import { cauchyLimit } from '../model/constants/register.js';
import type { CentredMotion } from './centred-motion.js';
import type { PairLink } from './solve-stack.js';
import type { SymmetricBand } from './symmetric-band.js';

/** Known frames and their 1/scale. */
export function inverseScales(
  motions: readonly (CentredMotion | undefined)[],
): { k: number; inverse: number }[] {
  return motions.flatMap((m, k) => (m ? [{ k, inverse: 1 / Math.hypot(m.a, m.b) }] : []));
}

/** The median step of 1/scale from frame to frame. */
export function typicalStep(motions: readonly (CentredMotion | undefined)[]): number {
  const known = inverseScales(motions);
  const steps = known.slice(1).map(({ k, inverse }, i) => (inverse - known[i].inverse) / (k - known[i].k));
  return median(Float64Array.from(steps));
}

/**
 * Relative standard deviation of the steps of the rail, from the changes between successive steps of the most certain
 * pairs: the even steps of a motor then constrain the less certain pairs strongly. Systematic errors of the pairs
 * change slowly along the stack, so that they hardly affect these differences.
 */
export function spreadOfSteps(
  links: readonly PairLink[],
  informations: readonly Float64Array[],
  radiusPx: number,
): number {
  const steps = new Map<number, { px: number; certainty: number }>();
  links.forEach(({ from, to, motion }, i) => {
    if (to - from > 1) return;
    steps.set(from, {
      px: radiusPx * (Math.hypot(motion.a, motion.b) - 1),
      certainty: informations[i][0],
    });
  });
  const changes = [...steps].flatMap(([k, here]) => {
    const after = steps.get(k + 1);
    if (!after) return [];
    return [{ px: Math.abs(after.px - here.px), certainty: Math.min(after.certainty, here.certainty) }];
  });
  if (changes.length < minSample) return railStepSigma;
  changes.sort((p, q) => q.certainty - p.certainty);
  const mostCertain = changes.slice(0, Math.ceil(changes.length / 2));
  const typicalPx = Math.abs(median(Float64Array.from(steps.values(), ({ px }) => px)));
  // A change is the difference of two steps: sqrt(2) times as scattered.
  const scatterPx = (sigmaPerMad / Math.SQRT2) * median(Float64Array.from(mostCertain, ({ px }) => px));
  if (typicalPx === 0) return railStepSigma;
  // At most, with its own standard error: the median absolute deviation has an efficiency of 0.37 (P. J. Rousseeuw & C. Croux,
  // Alternatives to the Median Absolute Deviation, JASA 88, 1993).
  const mostPx = scatterPx * (1 + confirmedSigmas / Math.sqrt(2 * 0.37 * mostCertain.length));
  return Math.min(railStepSigma, mostPx / typicalPx);
}

/** The last unknown of the equations, the step of the whole stack: its column, diagonal element and right side. */
export interface StepBorder {
  column: Float64Array;
  diagonal: number;
  right: number;
}

/**
 * Prior that all steps of the stack equal one common step, within their spread but for gaps: without it a run of frames that show
 * little sharp would keep the drift that their blur causes, each step like the one before. The common step is an
 * unknown of the same system. If it were fixed while the frames are solved for, it would hardly move from its start,
 * since where little is sharp the prior outweighs the pairs, and all scales would drift with its error.
 */
export function addEvenSteps(
  normal: SymmetricBand,
  right: Float64Array,
  motions: readonly (CentredMotion | undefined)[],
  radiusPx: number,
  startStep: number,
  spread: number,
  minErrorPx: number,
): StepBorder | undefined {
  const known = inverseScales(motions);
  if (known.length < 3) return undefined;
  const typical = typicalStep(motions);
  const startPx = Math.max(minErrorPx, railStepSigma * Math.abs(startStep) * radiusPx);
  const border: StepBorder = {
    column: new Float64Array(normal.size),
    diagonal: 1 / startPx ** 2,
    right: ((startStep - typical) * radiusPx) / startPx ** 2,
  };
  const variancePx = Math.max(minErrorPx, spread * Math.abs(typical) * radiusPx) ** 2;
  for (let i = 0; i + 1 < known.length; i++) {
    const here = known[i];
    const after = known[i + 1];
    const frames = after.k - here.k;
    const excess = (after.inverse - here.inverse - typical * frames) * radiusPx;
    // Cauchy's weight: a step over missing frames is far longer than the others.
    const weight = 1 / (variancePx * frames + (excess / cauchyLimit) ** 2);
    normal.addDifference(4 * here.k, 4 * after.k, excess, weight, right);
    border.column[4 * here.k] -= weight * frames;
    border.column[4 * after.k] += weight * frames;
    border.diagonal += weight * frames * frames;
    border.right += weight * excess * frames;
  }
  return border;
}
