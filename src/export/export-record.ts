import { join } from 'node:path';
import type { Size } from '../image/image.js';
import type { DepthUnit } from '../result/run-record.js';
import { readBoundedText } from '../stack/regular-file.js';

/** By this file a folder is known as an export. */
export const exportFileName = 'export.json';
export const exportSchemaName = 'lamella-export';
/** Raised when a field changes its meaning or goes. */
export const exportSchemaVersion = 1;
const maxExportBytes = 64e6;

/** A frame of an export; paths are relative to its folder, with forward slashes. */
export interface ExportedFrame {
  number: number;
  name: string;
  /** Share of the composite's pixels that name this frame in sources.png, 0 to 100. */
  sharePercent: number;
  /** False: beyond its edges alpha is 0. */
  reachesAll?: boolean;
  aligned?: string;
  mask?: string;
  /** Path of its layer in the OpenRaster file. */
  layer?: string;
}

/** A composite of neighbouring frames. */
export interface ExportedRun {
  file: string;
  frames: number[];
}

/** depth = offset + scale * value for values 1 to 65535; value 0 = none. */
export interface ExportedDepth {
  file: string;
  unit: DepthUnit;
  offset: number;
  scale: number;
  noData: 0;
  positive: 'away from the camera';
  zero: string;
}

/** What export.json holds. */
export interface ExportRecord {
  schema: typeof exportSchemaName;
  version: typeof exportSchemaVersion;
  programVersion: string;
  /** Absolute path of the result, and when its merge began. */
  result: string;
  mergedAt: string;
  size: Size;
  bits: 8 | 16;
  channels: 1 | 3;
  minSharePercent: number;
  frames: ExportedFrame[];
  /** Numbers of frames in use that supply less than `minSharePercent`. */
  leftOut: number[];
  layers?: string;
  runs?: ExportedRun[];
  depth?: ExportedDepth;
  /** Plain sentences for people. */
  notes: string[];
}

/** Whether a folder is an export of Lamella, of any version. */
export async function isExportFolder(folder: string): Promise<boolean> {
  try {
    const record: unknown = JSON.parse(await readBoundedText(join(folder, exportFileName), maxExportBytes));
    return (
      typeof record === 'object' &&
      record !== null &&
      'schema' in record &&
      record.schema === exportSchemaName
    );
  } catch {
    return false;
  }
}
