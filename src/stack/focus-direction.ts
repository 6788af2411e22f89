import { pupilToField } from '../optics/rail-growth.js';
import type { FrameFile } from './frame.js';

/** Which end of a stack is near: the frames' planes of focus, in capture order. */
export type Direction = 'near-to-far' | 'far-to-near' | 'unknown';

/**
 * What decided it: the user, the focused distances that the camera recorded, far detail seen through the blurred rims of
 * near things, or the growth of the picture as on a rail.
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

export interface DirectionEvidence {
  /** Absent where the direction was known without, or too few focus curves stand out. */
  pictures?: PictureEvidence | undefined;
  /** Absent where too few frames are placed. */
  growth?: Growth | undefined;
}

export interface FocusDirection {
  direction: Direction;
  /** Absent when nothing decided the direction. */
  directionBy?: DirectionSource;
  /** What the frames show; absent where the user or the camera said it. */
  directionEvidence?: DirectionEvidence;
}

/** What the user says of a stack; 'auto' leaves it to the frames. */
export type GivenDirection = 'auto' | Exclude<Direction, 'unknown'>;

/** What is known of a stack beside its pictures. */
export interface RailFacts {
  /** Width of a full-size frame, px. */
  widthPx: number;
  /** Travel of the rail from frame to frame, where the user gives it. */
  stepMm?: number | undefined;
}

/** So many different distances show a direction; with fewer, one of a lens that stays as it is may have been rounded differently. */
const minDistances = 3;
/** The pictures decide from here on: more than four standard errors, and twice as much for one end as for the other. */
const minZ = 4;
const minAgreement = 1 / 3;
/** Pictures against the growth, from here on, leave the direction open. */
const contraryZ = 2;
/** Growth decides only where it stands so many standard errors out. */
const minGrowthSigmas = 4;
/**
 * Pupil over field, by the growth's size, that only a rail shows. At magnifications from about 3 it is 2 to 6 (objectives: A / F = 2 NA f / F).
 * A lens that is focused by extension shows its pupil over the sensor, at most 1.2 (60 mm at f/2.8 on 17 mm), a phone 0.4, and a
 * rail near life size 0.3 to 1: those two cannot be distinguished. Above, growth is next to none: noise, or the rest of
 * breathing that a lens's makers left.
 */
const railPupilToField = { min: 2, max: 8 };
/** A frame of fewer pixels across is a part of a field: pupils are set against a field so wide at least. */
const minFieldPx = 1200;
/** Distance from lens to subject that a step over the growth may imply, mm. */
const railDistanceMm = { min: 2, max: 3000 };

/**
 * The direction in which the focus moved where it is known before the pictures are looked at: as the user says, else by
 * the focused distances that the camera recorded.
 */
export function knownDirection(
  given: GivenDirection,
  frames: readonly Pick<FrameFile, 'exif'>[],
): FocusDirection | undefined {
  if (given !== 'auto') return { direction: given, directionBy: 'option' };
  const recorded = recordedDirection(frames);
  return recorded && { direction: recorded, directionBy: 'focused distances' };
}

/**
 * The direction by what the frames show: the pictures where they suffice; else the growth, where its size is that of a
 * rail and the pictures do not contradict; else unknown. A fixed camera's picture shrinks or grows as its lens is
 * focused farther, as the lens is built, so growth alone says nothing of it.
 */
export function shownDirection(evidence: DirectionEvidence, rail: RailFacts): FocusDirection {
  const { pictures, growth } = evidence;
  const z = pictures?.z ?? 0;
  const directionEvidence = evidence;
  if (pictures && Math.abs(z) > minZ && pictures.agreement >= minAgreement) {
    return { direction: nearFirst(z > 0), directionBy: 'pictures', directionEvidence };
  }
  const isRail = growth !== undefined && growsAsRail(growth, pictures?.blurPx, rail);
  const isContrary = growth !== undefined && z * Math.sign(growth.perFrame) < -contraryZ;
  if (!isRail || isContrary) return { direction: 'unknown', directionEvidence };
  return { direction: nearFirst(growth.perFrame > 0), directionBy: 'growth', directionEvidence };
}

function growsAsRail(
  { perFrame, sigma }: Growth,
  blurPx: number | undefined,
  { widthPx, stepMm }: RailFacts,
): boolean {
  if (!(Math.abs(perFrame) > minGrowthSigmas * sigma)) return false;
  // Who gives the travel has a rail: then the distance must be one.
  if (stepMm !== undefined) return isWithin(stepMm / Math.abs(perFrame), railDistanceMm);
  return (
    blurPx !== undefined &&
    isWithin(pupilToField(blurPx, perFrame, Math.max(widthPx, minFieldPx)), railPupilToField)
  );
}

function isWithin(value: number, { min, max }: { min: number; max: number }): boolean {
  return value >= min && value <= max;
}

function nearFirst(isFirst: boolean): Direction {
  return isFirst ? 'near-to-far' : 'far-to-near';
}

/** Undefined where distances are missing, all but alike (on a rail the lens stays as it is) or turn back. */
function recordedDirection(frames: readonly Pick<FrameFile, 'exif'>[]): Direction | undefined {
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
