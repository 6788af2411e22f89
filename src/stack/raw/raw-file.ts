import type { DevelopedFrames } from './developed-frames.js';
import type { Development, FileWhite } from './development.js';
import type { SensorCrop } from './raw-jobs.js';

/** A raw file among the frames of a stack. */
export interface RawFile {
  white: FileWhite;
  /** The part of the sensor's active area that is shown. */
  crop: SensorCrop;
  /** Neither the file nor LibRaw has the matrix of its camera, whose colours are then taken for those of sRGB. */
  isColourUnknown?: true;
  /** How all frames of the stack are developed; undefined: as this file itself says. */
  development?: Development;
  /** Keeps the developed frame for later readings. */
  kept?: DevelopedFrames;
}
