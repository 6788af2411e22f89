import type { Size } from '../image/image.js';
import { median, sigmaPerMad } from '../image/median.js';
import { outlierSigmas } from '../model/constants/model.js';
import { encodingPower, minDetailEnergy, minVisiblePx, sharpPx } from '../model/constants/register.js';
import type { MotionModel } from '../options/motion-model.js';
import { type CentredMotion, noMotion, transformOf } from './centred-motion.js';
import { type SlopeContext, slopeContext } from './correct-slopes.js';
import type { Correspondences } from './fit-motion.js';
import { type LightLink, solveLight } from './frame-light.js';
import type { FrameMotion, MotionSolution } from './motion-solution.js';
import { measureGrowth, railResiduals, seenFromAnchor } from './rail.js';
import { luminanceWeights } from './reduced-frame.js';
import { relativeSharpness } from './sharpness.js';
import { type PairLink, reachableFrom, type StackSolution, solveStack } from './solve-stack.js';
import type { TileGrid } from './tile-grid.js';

/** What is kept of a frame after its pixels are released. */
export interface FrameRecord {
  number: number;
  channels: 1 | 3;
  detail: number;
  fineShare: number;
  sameAsPrevious: boolean;
  /** Energy of the band above its noise by voting level: (rows, columns) of the grid of tiles. */
  energies: Float32Array[];
}

/** All that was measured on a stack. */
export interface MotionEvidence {
  motion: MotionModel;
  fullSize: Size;
  radiusPx: number;
  /** Full-size pixels per reduced pixel. */
  pitchPx: number;
  frames: FrameRecord[];
  links: PairLink[];
  /** The tiles of each link. */
  tiles: Correspondences[];
  /** The tiles of each voting level as a grid. */
  grids: TileGrid[];
  lightLinks: LightLink[];
}

/** Asks for all pairs to be measured again by `correctLink`, each from its tiles. They do not depend on each other. */
export interface CorrectionRequest {
  context: SlopeContext;
  links: readonly PairLink[];
  tiles: readonly Correspondences[];
}

/** Yields what is most of the work, and is given the links in their order. */
export function* assembleSolution(
  evidence: MotionEvidence,
  anchorNumber: number,
): Generator<CorrectionRequest, MotionSolution, PairLink[]> {
  const { frames, fullSize, motion: model } = evidence;
  const requested = frames.findIndex(({ number }) => number === anchorNumber);
  if (requested < 0)
    throw new RangeError(
      `Expected the number of an added frame for anchorNumber but received ${anchorNumber}`,
    );
  const warnings: string[] = [];
  const allFlat = frames.every(isFlat);
  const still = model === 'none' || allFlat;
  const anchor = still ? requested : chooseAnchor(evidence, requested, warnings);
  const gains = solveLight(evidence.lightLinks, frames.length, anchor, frames[0].channels);
  const lights = gains.map(energyFactor);
  const solution = still ? noMotions(frames.length) : yield* solveModel(evidence, anchor, lights);
  // Errors of measurement are those of the reduced pictures.
  const reducedRadiusPx = evidence.radiusPx / evidence.pitchPx;
  const motions = model === 'shift' ? solution.motions : seenFromAnchor(solution.motions, reducedRadiusPx);
  const sharpness = relativeSharpness(frames, motions, evidence.grids[0], fullSize, lights);
  const scaleResiduals = railResiduals(motions);
  const aligned = frames.map((frame, k): FrameMotion => {
    const motion = motions[k];
    const reason = allFlat || !motion ? reasonOf(frame) : undefined;
    return {
      number: frame.number,
      usable: motion !== undefined,
      ...(reason ? { reason } : {}),
      ...transformOf(motion, fullSize),
      residualPx: solution.residualsPx[k],
      scaleResidual: scaleResiduals[k],
      sharpness: sharpness[k],
      detail: frame.detail,
      sameAsPrevious: frame.sameAsPrevious,
      gainRatio: motion ? gains[k] : gains[k].map(() => 1),
    };
  });
  return {
    anchorNumber: frames[anchor].number,
    frames: aligned,
    growth: measureGrowth(motions, reducedRadiusPx),
    warnings,
  };
}

/** What gains, which are those of encoded values, make of energies, which are those of linear luminance. */
function energyFactor(gains: readonly number[]): number {
  const weights = luminanceWeights[gains.length === 1 ? 1 : 3];
  return weights.reduce((sum, weight, c) => sum + weight * gains[c] ** encodingPower, 0) ** 2;
}

function isFlat({ detail }: FrameRecord): boolean {
  return detail ** 2 < minDetailEnergy;
}

function reasonOf(frame: FrameRecord): string {
  return isFlat(frame) ? 'it shows no detail' : 'it has too little in common with its neighbours';
}

function noMotions(count: number): StackSolution {
  return {
    motions: Array.from({ length: count }, () => ({ ...noMotion })),
    residualsPx: new Array<number>(count).fill(Number.NaN),
  };
}

/** The requested frame, unless no other is linked to it: then the nearest frame of the largest linked group. */
function chooseAnchor({ frames, links }: MotionEvidence, requested: number, warnings: string[]): number {
  const count = frames.length;
  const own = reachableFrom(requested, count, links);
  if (count === 1 || own.filter(Boolean).length > 1) return requested;
  let largest = own;
  for (let k = 0; k < count; k++) {
    if (largest[k]) continue;
    const part = reachableFrom(k, count, links);
    if (part.filter(Boolean).length > largest.filter(Boolean).length) largest = part;
  }
  if (largest === own) return requested;
  const members = largest.flatMap((inside, k) => (inside ? [k] : []));
  const nearest = members.reduce((best, k) =>
    Math.abs(k - requested) < Math.abs(best - requested) ? k : best,
  );
  warnings.push(
    `Frame ${frames[requested].number} was to be the anchor but cannot be aligned with any other frame. ` +
      `Frame ${frames[nearest].number} takes its place.`,
  );
  return nearest;
}

function* solveModel(
  evidence: MotionEvidence,
  anchor: number,
  lights: readonly number[],
): Generator<CorrectionRequest, StackSolution, PairLink[]> {
  const { motion, radiusPx, pitchPx, frames } = evidence;
  const solveBy = (by: readonly PairLink[], free: 'shift' | 'scale' | 'similarity') =>
    solveStack(by, {
      frameCount: frames.length,
      anchor,
      radiusPx,
      free,
      minErrorPx: sharpPx * pitchPx,
    });
  const first = solveBy(evidence.links, motion === 'shift' ? 'shift' : 'similarity');
  // With all frames aligned the peak energy of each tile position is known.
  const { links: measured, tiles } = evidence;
  const links = yield { context: slopeContext(evidence, first.motions, lights), links: measured, tiles };
  if (motion === 'shift') return solveBy(links, 'shift');
  const turned = solveBy(links, 'similarity');
  if (motion === 'similarity' || showsRoll(turned.motions, links, radiusPx, pitchPx)) return turned;
  return solveBy(links, 'scale');
}

/**
 * Roll is accepted when it moves the corners visibly and by several times its error, which is estimated from the
 * contradictions between pairs over two frames and the two pairs that they span.
 */
function showsRoll(
  motions: readonly (CentredMotion | undefined)[],
  links: readonly PairLink[],
  radiusPx: number,
  pitchPx: number,
): boolean {
  const turnOf = (m: CentredMotion) => (m.b / m.a) * radiusPx;
  const contradictions = links.flatMap(({ from, to, motion }) => {
    const first = motions[from];
    const second = motions[to];
    return first && second ? [Math.abs(turnOf(motion) - turnOf(first) + turnOf(second))] : [];
  });
  const typicalError = Math.max(sharpPx * pitchPx, sigmaPerMad * median(Float64Array.from(contradictions)));
  const turnsPx = links.map(({ motion }) => Math.abs(turnOf(motion)));
  const typicalTurn = median(Float64Array.from(turnsPx));
  const known = motions.filter((m) => m !== undefined);
  const rolls = known.map(turnOf);
  const range = Math.max(...rolls) - Math.min(...rolls);
  return (
    (typicalTurn > outlierSigmas * typicalError && typicalTurn > minVisiblePx * pitchPx) ||
    (range > outlierSigmas * typicalError * Math.sqrt(known.length) && range > minVisiblePx * pitchPx)
  );
}
