import type { Size } from '../image/image.js';

/** Width and height of a sensor, mm. */
export interface SensorSize {
  widthMm: number;
  heightMm: number;
}

/** Options of a plan. Validated and completed by `resolvePlanOptions`. */
export interface PlanOptions {
  /** A fixed camera that is focused from near to far, instead of a rail. Default false. */
  landscape: boolean;

  focalLengthMm?: number;
  /** Magnification without tubes, as the lens is focused. Default 'infinity'. */
  ownMagnification: number | 'infinity';
  /** Tubes or bellows. Default 0. */
  extensionMm: number;
  /** Exit over entrance pupil. Default 1. */
  pupilRatio: number;
  fNumber?: number;
  /** Whether `fNumber` is that of the scale (for infinity; default) or the effective one, as some cameras show close up. */
  fNumberIs: 'marked' | 'effective';
  /** Marked f-number of the lens wide open: none wider is recommended. */
  widestFNumber?: number;
  /** Instead of `fNumber`, for microscope objectives. */
  numericalAperture?: number;

  /** Measured: length of a ruler across the picture's width. Instead of focal length and extension. */
  fieldWidthMm?: number;
  /** Known: size on the sensor over size of the subject. Instead of focal length and extension. */
  magnification?: number;

  /** Name of a format, or its size. */
  sensor?: string | SensorSize;
  /** Pixels across and down, or how many in all. */
  pixels?: Size | number;
  /** Instead of `pixels`. */
  pixelPitchUm?: number;
  /** In mm; 'pixel': two pixels; 'format': by convention for the sensor; or the name of a format. Default 'pixel'. */
  circle: number | string;
  /** Default 550. */
  wavelengthNm: number;

  /** Depth of the subject to cover. */
  depthMm?: number;
  /** Minimum share of a frame's depth of field that the next covers again. Default 30, or what `stepMm` leaves. */
  overlapPercent: number;
  /** A given step, instead of the one that follows from the overlap. */
  stepMm?: number;
  travelPerTurnMm?: number;
  marksPerTurn?: number;
  settleS?: number;
  exposureS?: number;

  /** Landscape: the nearest distance that is to be sharp. */
  nearM?: number;
  /** Landscape: the farthest. Default 'infinity'. */
  farM: number | 'infinity';
  /** Landscape: the nearest distance on the lens's scale. */
  closestFocusM?: number;
}
