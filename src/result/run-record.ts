import type { Size } from '../image/image.js';
import type { Matrix3 } from '../image/transform.js';
import type { MergeOptions } from '../options/merge-options.js';
import type { Direction, DirectionEvidence, DirectionSource } from '../stack/focus-direction.js';
import type { FrameExif, FrameReduction } from '../stack/frame.js';
import type { Development } from '../stack/raw/development.js';
import type { CoverageClassName } from './coverage.js';
import type { Finding } from './finding.js';

export const runFileName = 'run.json';
export const runSchemaName = 'lamella-run';
/**
 * Raised when a field changes its meaning or goes. A field that is only added keeps the version:
 * readers skip what they do not know.
 */
export const runSchemaVersion = 1;

/** Unit of depths: millimetres when the step is known, else the mean distance between two neighbouring frames. */
export type DepthUnit = 'mm' | 'step';

/** One photograph of the stack as the run saw it, used or not. */
export interface RunFrame {
  /** 1-based position in capture order: the number in sources.png. */
  number: number;
  name: string;
  /** Path relative to `folder` of the record, with forward slashes. */
  path: string;
  sizeBytes: number;
  modifiedMs: number;
  /** SHA-256 of the file, 64 hex digits. */
  sha256: string;
  exif: FrameExif;
  used: boolean;
  /** A plain clause, e.g. "blurred by motion"; present when `used` is false. */
  leftOutReason?: string | undefined;
  /** Factor per channel by which the frame's samples were multiplied to match the anchor's light. */
  gainRatio: number[];
  /** Frame pixel to anchor pixel, row-major; null when the frame could not be aligned. */
  transform: Matrix3 | null;
  /** Misfit of the alignment against its neighbours, px; null when unknown. */
  residualPx: number | null;
  /** Scale of the frame less the scale on the rail's straight line; null when unknown. */
  scaleResidual: number | null;
  /** The frame's plane of focus in the unit and direction of depth.tif; 0 at the anchor. */
  depth: number | null;
  /**
   * How far the plane of focus lies from that of the frame in use before it, in usual steps, from 0.4 to 30: as the
   * positions give it, or the detail of the frames. Null for the first and for a frame that is left out.
   */
  travelSteps?: number | null | undefined;
  /** Share of the composite's pixels that name this frame in sources.png, 0 to 100. */
  sharePercent: number;
}

/** The composite: its file, and what that holds. */
export interface CompositeRecord {
  file: string;
  bits: 8 | 16;
  channels: 1 | 3;
  hasIcc: boolean;
  hasExif: boolean;
}

/** The file of depth and its unit. */
export interface DepthRecord {
  file: string;
  unit: DepthUnit;
  /** What a pixel holds that no frame covers. */
  noData: 'NaN';
  /** Direction in which values grow; zero is the anchor's plane of focus. */
  positive: 'away from the camera';
  /** Smallest and largest depth; null when no pixel has one. */
  min: number | null;
  max: number | null;
}

/** depth = offset + scale * value for values 1 to 65535; value 0 = none. */
export interface DepthPngRecord {
  file: string;
  offset: number;
  scale: number;
  unit: DepthUnit;
  noData: 0;
}

/** A class of coverage as coverage.png shows it. */
export interface CoverageClassRecord {
  /** Palette index in coverage.png. */
  value: number;
  name: CoverageClassName;
  /** Its colour as #rrggbb. */
  colour: string;
  /** Share of the pixels, 0 to 100. */
  percent: number;
}

/** The files of the maps, and how their values are read. */
export interface MapsRecord {
  depth: DepthRecord;
  depthPng: DepthPngRecord;
  /** Value = frame number, `noData` = no frame. */
  sources: { file: string; noData: 0 };
  /** confidence (0 to 1) = scale * value. */
  confidence: { file: string; scale: number };
  coverage: { file: string; classes: CoverageClassRecord[] };
}

/** A rectangle in anchor pixels: `x`, `y` is its upper left pixel. */
export interface CropRectangle extends Size {
  x: number;
  y: number;
}

/** What run.json holds: enough to read every map, to repeat the run and to mend it. */
export interface RunRecord {
  schema: typeof runSchemaName;
  version: typeof runSchemaVersion;
  programVersion: string;
  /** ISO 8601 with time zone. */
  startedAt: string;
  wallMs: number;
  /** The graphics processor that merged, with its driver; 'processor' where none did; absent in records of older programs. */
  device?: string | undefined;
  /** Wall time of each stage. */
  stagesMs: Record<string, number>;
  /** Options as resolved. To repeat a run, give them to `resolveOptions` again: they may come from an older program. */
  options: MergeOptions;
  /** Absolute path of the folder of photographs. */
  folder: string;
  /** Size of the composite and of every map, px. */
  size: Size;
  /** Size of the frames as they were merged, px. */
  frameSize: Size;
  /** Present in a preview: the frames were merged reduced, and `frameSize`, transforms and residuals are in their pixels. */
  preview?: FrameReduction | undefined;
  bits: 8 | 16;
  channels: 1 | 3;
  /** How raw files were developed, all alike; absent where there were none. */
  development?: Development | undefined;
  orderedBy: 'exif time' | 'name';
  /** 'unknown': depth counts in capture order, positive toward the last frame. */
  direction: Direction;
  /** What decided the direction; absent when nothing did, and in records of before it was kept. */
  directionBy?: DirectionSource | undefined;
  /** What the frames show of the direction; absent in records of before it was kept. */
  directionEvidence?: DirectionEvidence | undefined;
  anchorNumber: number;
  frames: RunFrame[];
  composite: CompositeRecord;
  maps: MapsRecord;
  /** Where the composite lies in the anchor frame. */
  crop: CropRectangle;
  /** Side of a pixel at the anchor's plane of focus. */
  mmPerPixel?: number | undefined;
  stepMm?: number | undefined;
  /** Half width of the usual focus curve, usual steps, as the reduced frames show it (`rail/focus-fit.ts`). */
  focusWidthSteps?: number | undefined;
  /** Rail position of each frame in capture order. */
  positionsMm?: number[] | undefined;
  /** What is to be said of the stack and its picture, the gravest first; absent in records of before it was kept. */
  findings?: Finding[] | undefined;
  /** Plain sentences for the user. */
  warnings: string[];
  notes: string[];
}
