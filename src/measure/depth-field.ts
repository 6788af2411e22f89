import type { Size } from '../image/image.js';
import type { ResultScale } from '../relief/scale.js';
import type { Result } from '../result/read-result.js';
import type { PictureRegion } from '../trace/picture-region.js';
import { clipRegion } from '../trace/picture-region.js';
import { readRegionMaps } from '../trace/result-region.js';

/** Below even odds of being within a step, a depth is a guess: nothing is measured by it. */
export const minConfidence = 0.5;
/** No confidence makes a depth better known than this share of being within a step; see `depthSigma`. */
const maxShareWithinStep = 0.99;

/** Depth and its standard uncertainty over a rectangle of the picture, arrays of shape (height, width). */
export interface DepthField extends Size {
  /** Composite pixel of the upper left one. */
  x: number;
  y: number;
  /** In the unit of depth.tif; NaN where none is known, or none that may be trusted. */
  depth: Float32Array;
  /** Standard uncertainty of each depth, in its unit. */
  sigma: Float32Array;
}

/** The depth of a result over a region, which is cut to the picture. Memory follows the region. */
export async function readDepthField(
  result: Result,
  scale: ResultScale,
  region: PictureRegion,
): Promise<DepthField> {
  const inside = clipRegion(region, result.record.size);
  if (!inside)
    return { ...region, width: 0, height: 0, depth: new Float32Array(), sigma: new Float32Array() };
  const { depth, confidence } = await readRegionMaps(result, inside);
  const sigmaOf = Float32Array.from({ length: 256 }, (_, value) =>
    depthSigma(value * result.record.maps.confidence.scale, scale.stepDepth),
  );
  const sigma = Float32Array.from(confidence, (value) => sigmaOf[value]);
  for (let i = 0; i < depth.length; i++) {
    if (!Number.isFinite(depth[i]) || !Number.isFinite(sigma[i])) depth[i] = Number.NaN;
  }
  return { ...inside, depth, sigma };
}

/**
 * Standard uncertainty of a depth. Confidence is the share of such pixels whose depth is right within a step, so, errors
 * taken as normal, P(|error| < step) = confidence = erf(step / (sigma sqrt 2)). Infinite below `minConfidence`.
 */
export function depthSigma(confidence: number, step: number): number {
  if (!(confidence >= minConfidence)) return Number.POSITIVE_INFINITY;
  return step / (Math.SQRT2 * inverseErf(Math.min(confidence, maxShareWithinStep)));
}

/** Inverse of the error function for 0 to 1 by S. Winitzki's approximation (2008, from memory), within 0.5 %. */
function inverseErf(value: number): number {
  const a = 0.147;
  const log = Math.log(1 - value * value);
  const half = 2 / (Math.PI * a) + log / 2;
  return Math.sqrt(Math.sqrt(half * half - log / a) - half);
}

/** A depth with its standard uncertainty, in the unit of depth.tif. */
export interface KnownDepth {
  depth: number;
  sigma: number;
}

/** Depth at the nearest pixel; undefined where it has none that may be trusted. */
export function depthAt(field: DepthField, x: number, y: number): KnownDepth | undefined {
  const column = Math.round(x) - field.x;
  const row = Math.round(y) - field.y;
  if (column < 0 || row < 0 || column >= field.width || row >= field.height) return undefined;
  // Not a mean over neighbours, which would take the top off a ridge: maps are smoothed by the merge as far as they may be.
  const at = row * field.width + column;
  const depth = field.depth[at];
  return Number.isFinite(depth) ? { depth, sigma: field.sigma[at] } : undefined;
}
