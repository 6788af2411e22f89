import { isMetric, type ResultScale, relativeSide, spacePoint } from '../relief/scale.js';
import type { QuantityUnit } from '../result/measures-file.js';

/** How pixels and depths become lengths for a measure. */
export interface Metric {
  scale: ResultScale;
  /** Unit of lengths across, and the side of a pixel in it at the anchor's plane of focus. */
  across: 'mm' | 'px';
  side: number;
  /** Unit of heights, and one unit of depth.tif in it. */
  along: 'mm' | 'step';
  height: number;
  /** Whether both are mm, so that lengths in space can be known. */
  isMetric: boolean;
  /** Standard uncertainty of the scale as it was given, relative. */
  relativeSigma: number;
}

/** A point of the subject: across from the lens axis, x right and y down, and along it away from the camera. */
export type SpacePoint = [x: number, y: number, z: number];

/** Standard uncertainty of a point that is set to a whole pixel: a uniform error of half a pixel. */
export const pickSigmaPx = 1 / Math.sqrt(12);

export function metricOf(scale: ResultScale, scaleErrorPercent: number): Metric {
  return {
    scale,
    across: scale.mmPerPixel === undefined ? 'px' : 'mm',
    side: scale.mmPerPixel ?? 1,
    along: scale.mmPerDepth === undefined ? 'step' : 'mm',
    height: scale.mmPerDepth ?? 1 / scale.stepDepth,
    isMetric: isMetric(scale),
    relativeSigma: scaleErrorPercent / 100,
  };
}

/** Side of a pixel at a depth, in the unit across. */
export function sideAt({ scale, side }: Metric, depth: number): number {
  return side * relativeSide(scale, depth);
}

/** A composite pixel at a depth as a point; `growth` stands in for that of the scale where its error is asked for. */
export function pointAt(metric: Metric, x: number, y: number, depth: number, growth?: number): SpacePoint {
  return spacePoint(metric.scale, { perPixel: metric.side, perDepth: metric.height }, x, y, depth, growth);
}

/** The square of a unit of lengths across. */
export function squareOf(unit: 'mm' | 'px'): QuantityUnit {
  return unit === 'mm' ? 'mm²' : 'px²';
}
