import type { LibRawMetadata, LibRawSettings } from './libraw.js';

/** A rectangle of the sensor's active area before it is turned upright, px. */
export interface SensorCrop {
  left: number;
  top: number;
  width: number;
  height: number;
}

/** What a worker is asked to do with one file. */
export type RawJob =
  /** Headers alone. */
  | { kind: 'identify'; path: string }
  /** The preview that the camera put into the file. */
  | { kind: 'preview'; path: string }
  /** Black and white level, which some cameras show in masked pixels alone. */
  | { kind: 'levels'; path: string }
  | { kind: 'develop'; path: string; settings: LibRawSettings; crop: SensorCrop };

/** Levels of the samples of a file. */
export interface RawLevels {
  /** Of the four positions of a Bayer mosaic, in LibRaw's order; absent for other mosaics. */
  black?: number[];
  /** White level, counted from black. */
  white: number;
}

/** The preview of a file as the camera made it, before it is turned upright. */
export interface RawPreview {
  /** JPEG, or 8-bit RGB of (rows, cols, 3). */
  format: 'jpeg' | 'bitmap';
  width: number;
  height: number;
  data: Uint8Array;
  /** As `LibRawMetadata.flip`. */
  flip: number;
}

/** Pixels of a developed file, (rows, cols, channels), upright. */
export interface DevelopedPixels {
  width: number;
  height: number;
  channels: 1 | 3;
  samples: Uint16Array;
}

/** What comes back, by the kind of the job. */
export interface RawAnswers {
  identify: LibRawMetadata;
  preview: RawPreview | undefined;
  levels: RawLevels;
  develop: DevelopedPixels;
}

/** Why a job failed. */
export interface RawFailure {
  /** What LibRaw, or the system, says. */
  message: string;
  /** LibRaw's code: -2 for a file that it does not know; absent when it gave none. */
  code?: number;
  /** The system's code, when the file could not be read. */
  systemCode?: string;
  /** The worker may hold on to what the job took: another takes its place. */
  isSpent: boolean;
}

/** What a worker answers to the job that it was sent; it is sent one at a time. */
export type RawReply = { answer: unknown } | { failure: RawFailure };
