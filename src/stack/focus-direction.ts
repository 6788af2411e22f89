import { pupilToField } from '../optics/rail-growth.js';
import type { FrameFile } from './frame.js';

/** Which end of a stack is near: the frames' planes of focus, in capture order. */
export type Direction = KnownDirection | 'unknown';
/** An order that is known: the first frame is focused nearest, or farthest. */
export type KnownDirection = 'near-to-far' | 'far-to-near';

/**
 * What decided it: the user, the focused distances that the camera recorded, far detail seen through the blurred rims
 * of near things, or the growth of the picture as on a rail, where its travel is given or the pictures favour the same
 * direction.
 */
export type DirectionSource = 'option' | 'focused distances' | 'pictures' | 'growth';

/** Evidence of the pictures for the direction: see `seeThrough` in surface/see-through.ts. */
export interface PictureEvidence {
  /** Evidence in standard errors: above 0, nearer means a lower ordinal. 0 without any. */
  z: number;
  /** Absolute difference between the votes for either direction, as a share of all votes: 0 to 1. */
  agreement: number;
  /** Number of blocks of the picture that contain evidence. */
  blocks: number;
  /** Radius of the blur one frame away from a plane of focus, px of a full-size frame. */
  blurPx: number;
}

/** Relative growth of the picture from each frame to the next. */
export interface Growth {
  perFrame: number;
  /** Standard error of `perFrame`. */
  sigma: number;
}

/** Evidence of the frames for the direction. */
export interface DirectionEvidence {
  /** Absent where too few focus curves are significant. */
  pictures?: PictureEvidence | undefined;
  /** Absent where too few frames are aligned. */
  growth?: Growth | undefined;
}

export interface FocusDirection {
  direction: Direction;
  /** Absent when nothing decided the direction. */
  directionBy?: DirectionSource;
  /** Evidence of the frames, whatever decided. */
  directionEvidence?: DirectionEvidence;
}

/** The direction as the user gives it; 'auto' derives it from the frames. */
export type GivenDirection = 'auto' | KnownDirection;

/** What is known of a stack apart from its pictures. */
export interface RailFacts {
  /** Width of a full-size frame, px. */
  widthPx: number;
  /** Travel of the rail from frame to frame, where the user gives it. */
  stepMm?: number | undefined;
}

/**
 * Minimum number of different distances: with fewer, the distance of a lens that was not refocused may have been
 * rounded differently.
 */
const minDistances = 3;
/**
 * The pictures decide from here on: odds of 200 to 1, as standard errors, and three times as many votes for one
 * direction as for the other.
 */
const minZ = 3.25;
const minAgreement = 1 / 2;
/**
 * Odds that growth like that on a rail shows the direction, where no travel is given: four in five of such stacks, say, are
 * shot on a rail, and the pictures of half of the others grow the other way.
 */
const growthOdds = 9;
/** Significance of the pictures, in standard errors, that together with the growth is as much as `minZ` alone. */
const minSupportZ = Math.sqrt(minZ ** 2 - 2 * Math.log(growthOdds));
/** Minimum significance of the growth, standard errors. */
const minGrowthSigmas = 4;
/**
 * Maximum ratio of pupil to field that the growth on a rail implies. Objectives have A / F = 2 NA f / F, up to 6; a
 * lens near life size 0.3 to 1. Above, there is hardly any growth: noise, or the residue of a telecentric lens.
 */
const maxPupilToField = 8;
/** Lower limit of the field width, px: a frame of fewer pixels is a crop of a field. */
const minFieldPx = 1200;
/** Plausible range of the working distance that step over growth implies, mm. */
const railDistanceMm = { min: 2, max: 3000 };

/**
 * The direction in which the focus moved: as the user gives it, else by the focused distances that the camera recorded,
 * else by the evidence of the frames; see `shownDirection`.
 */
export function findDirection(
  given: GivenDirection,
  frames: readonly Pick<FrameFile, 'exif'>[],
  directionEvidence: DirectionEvidence,
  rail: RailFacts,
): FocusDirection {
  const known = knownDirection(given, frames);
  return known ? { ...known, directionEvidence } : shownDirection(directionEvidence, rail);
}

/** The direction that the user gives or the camera recorded, without the pictures. */
export function knownDirection(
  given: GivenDirection,
  frames: readonly Pick<FrameFile, 'exif'>[],
): FocusDirection | undefined {
  if (given !== 'auto') return { direction: given, directionBy: 'option' };
  const recorded = recordedDirection(frames);
  return recorded && { direction: recorded, directionBy: 'focused distances' };
}

/**
 * The direction by the evidence of the frames: the pictures where they suffice; else the growth, where the travel of a
 * rail is given, or where the pictures favour the same direction; else unknown. The picture of a fixed camera shrinks or
 * grows as its lens is focused farther, depending on its construction by any amount up to that of a lens that is moved out
 * as a whole. So no amount of growth alone proves a rail. Pictures that do not suffice do not contradict a rail either:
 * noise on a plane makes them favour one direction or the other.
 */
export function shownDirection(evidence: DirectionEvidence, rail: RailFacts): FocusDirection {
  const directionEvidence = evidence;
  const shown = pictureDirection(evidence);
  if (shown) return { direction: shown, directionBy: 'pictures', directionEvidence };
  const byGrowth = directionOnRail(evidence, rail);
  const z = evidence.pictures?.z ?? 0;
  const isSupported = Math.abs(z) > minSupportZ && nearFirst(z > 0) === byGrowth;
  if (!byGrowth || (rail.stepMm === undefined && !isSupported))
    return { direction: 'unknown', directionEvidence };
  return { direction: byGrowth, directionBy: 'growth', directionEvidence };
}

/**
 * The direction that the growth implies if a rail moved the camera; undefined where it is not significant or is not that of
 * a rail.
 */
export function directionOnRail(
  { pictures, growth }: DirectionEvidence,
  { widthPx, stepMm }: RailFacts,
): KnownDirection | undefined {
  if (!growth || !(Math.abs(growth.perFrame) > minGrowthSigmas * growth.sigma)) return undefined;
  const { perFrame } = growth;
  const fieldPx = Math.max(widthPx, minFieldPx);
  if (pictures && pupilToField(pictures.blurPx, perFrame, fieldPx) > maxPupilToField) return undefined;
  if (stepMm !== undefined && !isWithin(stepMm / Math.abs(perFrame), railDistanceMm)) return undefined;
  return nearFirst(perFrame > 0);
}

/** Whether the pictures show the reverse of the given or recorded direction, with significance. */
export function isContradicted({ direction, directionEvidence }: FocusDirection): boolean {
  const shown = directionEvidence && pictureDirection(directionEvidence);
  return shown !== undefined && direction !== 'unknown' && shown !== direction;
}

/** The direction by the pictures alone, where they suffice. */
function pictureDirection({ pictures }: DirectionEvidence): KnownDirection | undefined {
  if (!pictures || !(Math.abs(pictures.z) > minZ) || pictures.agreement < minAgreement) return undefined;
  return nearFirst(pictures.z > 0);
}

function isWithin(value: number, { min, max }: { min: number; max: number }): boolean {
  return value >= min && value <= max;
}

function nearFirst(isFirst: boolean): KnownDirection {
  return isFirst ? 'near-to-far' : 'far-to-near';
}

/** Undefined where distances are missing, nearly equal (on a rail the lens is not refocused) or not monotonic. */
function recordedDirection(frames: readonly Pick<FrameFile, 'exif'>[]): KnownDirection | undefined {
  const distances: number[] = [];
  for (const { exif } of frames) {
    if (exif.focusDistanceM === undefined) return undefined;
    distances.push(exif.focusDistanceM);
  }
  if (distances.length < 2) return undefined;
  if (new Set(distances).size < Math.min(minDistances, distances.length)) return undefined;
  const sign = Math.sign(distances[distances.length - 1] - distances[0]);
  const turnsBack = distances.some((distance, k) => k > 0 && (distance - distances[k - 1]) * sign < 0);
  if (sign === 0 || turnsBack) return undefined;
  return nearFirst(sign > 0);
}
