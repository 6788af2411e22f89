import { pupilToField } from '../optics/rail-growth.js';
import type { FrameFile } from './frame.js';

/** Which end of a stack is near: the frames' planes of focus, in capture order. */
export type Direction = KnownDirection | 'unknown';
/** An order that is known: the first frame is focused nearest, or farthest. */
export type KnownDirection = 'near-to-far' | 'far-to-near';

/**
 * What decided it: the user, the focused distances that the camera recorded, far detail seen through the blurred rims of
 * near things, or the growth of the picture as before a rail, where its travel is given or the pictures lean the same way.
 */
export type DirectionSource = 'option' | 'focused distances' | 'pictures' | 'growth';

/** What the pictures show of the direction: see `seeThrough` in surface/see-through.ts. */
export interface PictureEvidence {
  /** Evidence in standard errors: above 0, nearer means a lower ordinal. 0 without any. */
  z: number;
  /** What is left when parts of the picture for one end are set off against those for the other, part of all: 0 to 1. */
  agreement: number;
  /** Parts of the picture that show anything. */
  blocks: number;
  /** Radius of the blur one frame away from a plane of focus, px of a full-size frame. */
  blurPx: number;
}

/** How much larger the same thing is in each frame than in the one before, as a part of its size. */
export interface Growth {
  perFrame: number;
  /** Standard error of it. */
  sigma: number;
}

/** What the frames themselves show of the direction. */
export interface DirectionEvidence {
  /** Absent where too few focus curves stand out. */
  pictures?: PictureEvidence | undefined;
  /** Absent where too few frames are placed. */
  growth?: Growth | undefined;
}

export interface FocusDirection {
  direction: Direction;
  /** Absent when nothing decided the direction. */
  directionBy?: DirectionSource;
  /** What the frames show, whatever decided. */
  directionEvidence?: DirectionEvidence;
}

/** What the user says of a stack; 'auto' leaves it to the frames. */
export type GivenDirection = 'auto' | KnownDirection;

/** What is known of a stack beside its pictures. */
export interface RailFacts {
  /** Width of a full-size frame, px. */
  widthPx: number;
  /** Travel of the rail from frame to frame, where the user gives it. */
  stepMm?: number | undefined;
}

/** So many different distances show a direction; with fewer, one of a lens that stays as it is may have been rounded differently. */
const minDistances = 3;
/** The pictures are sure from here on: more than four standard errors, and twice as much for one end as for the other. */
const minZ = 4;
const minAgreement = 1 / 3;
/** Pictures that lean so far, in standard errors, against the growth leave the direction open; with it, they bear it out. */
const leaningZ = 2;
/** Growth decides only where it stands so many standard errors out. */
const minGrowthSigmas = 4;
/**
 * Pupil over field, by the growth's size, that a rail shows at most. Objectives show A / F = 2 NA f / F, up to 6; a lens near
 * life size 0.3 to 1. Above, growth is next to none: noise, or what the stage of a telecentric lens leaves.
 */
const maxPupilToField = 8;
/** A frame of fewer pixels across is a part of a field: pupils are set against a field so wide at least. */
const minFieldPx = 1200;
/** Distance from lens to subject that a step over the growth may imply, mm. */
const railDistanceMm = { min: 2, max: 3000 };

/**
 * The direction in which the focus moved: as the user says, else by the focused distances that the camera recorded, else
 * by what the frames show; see `shownDirection`.
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

/** The direction as the user or the camera says it, before the pictures are looked at. */
export function knownDirection(
  given: GivenDirection,
  frames: readonly Pick<FrameFile, 'exif'>[],
): FocusDirection | undefined {
  if (given !== 'auto') return { direction: given, directionBy: 'option' };
  const recorded = recordedDirection(frames);
  return recorded && { direction: recorded, directionBy: 'focused distances' };
}

/**
 * The direction by what the frames show: the pictures where they suffice; else the growth, where the travel of a rail is
 * given and both agree, or where the pictures lean the same way; else unknown. A fixed camera's picture shrinks or grows as its lens is focused farther, by any
 * amount up to that of a lens that is moved out as a whole, as the lens is built. So no size of growth shows by itself that
 * a rail made it.
 */
export function shownDirection(evidence: DirectionEvidence, rail: RailFacts): FocusDirection {
  const directionEvidence = evidence;
  const seen = seenDirection(evidence);
  if (seen) return { direction: seen, directionBy: 'pictures', directionEvidence };
  const grown = directionOnRail(evidence, rail);
  const isBorneOut = Math.abs(evidence.pictures?.z ?? 0) > leaningZ;
  if (!grown || (rail.stepMm === undefined && !isBorneOut))
    return { direction: 'unknown', directionEvidence };
  return { direction: grown, directionBy: 'growth', directionEvidence };
}

/**
 * The direction that the growth shows if a rail moved the camera; undefined where it is not sure, is not that of a rail, or
 * the pictures lean the other way.
 */
export function directionOnRail(
  { pictures, growth }: DirectionEvidence,
  { widthPx, stepMm }: RailFacts,
): KnownDirection | undefined {
  if (!growth || !(Math.abs(growth.perFrame) > minGrowthSigmas * growth.sigma)) return undefined;
  const { perFrame } = growth;
  if (pictures && pictures.z * Math.sign(perFrame) < -leaningZ) return undefined;
  const fieldPx = Math.max(widthPx, minFieldPx);
  if (pictures && pupilToField(pictures.blurPx, perFrame, fieldPx) > maxPupilToField) return undefined;
  if (stepMm !== undefined && !isWithin(stepMm / Math.abs(perFrame), railDistanceMm)) return undefined;
  return nearFirst(perFrame > 0);
}

/** Whether the pictures surely show the reverse of what the user or the camera says. */
export function isContradicted({ direction, directionEvidence }: FocusDirection): boolean {
  const seen = directionEvidence && seenDirection(directionEvidence);
  return seen !== undefined && direction !== 'unknown' && seen !== direction;
}

/** The direction that the pictures show by themselves, where they suffice. */
function seenDirection({ pictures }: DirectionEvidence): KnownDirection | undefined {
  if (!pictures || !(Math.abs(pictures.z) > minZ) || pictures.agreement < minAgreement) return undefined;
  return nearFirst(pictures.z > 0);
}

function isWithin(value: number, { min, max }: { min: number; max: number }): boolean {
  return value >= min && value <= max;
}

function nearFirst(isFirst: boolean): KnownDirection {
  return isFirst ? 'near-to-far' : 'far-to-near';
}

/** Undefined where distances are missing, all but alike (on a rail the lens stays as it is) or turn back. */
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
