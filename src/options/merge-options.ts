import type { GivenOrder } from '../stack/capture-order.js';
import type { GivenDirection } from '../stack/focus-direction.js';
import type { PreviewFactor } from '../stack/frame.js';
import type { ColourSpace } from '../stack/raw/colour-space.js';
import type { WhiteBalance } from '../stack/raw/development.js';
import type { PreferredTwin } from '../stack/raw/settle-raws.js';
import type { MotionModel } from './motion-model.js';
import type { SourceRule } from './source-rule.js';

/** Everything that changes what a merge computes. Validated by `resolveOptions`. */
export interface MergeOptions {
  /** How sources are chosen. Default 'auto'. */
  rule: SourceRule;
  /** The frame whose framing the result keeps: a frame number (1-based) or a place. Default 'middle'. */
  anchor: 'first' | 'middle' | 'last' | number;
  /** 'common' cuts to where every frame reaches (default); 'anchor' keeps the anchor's whole framing. */
  crop: 'common' | 'anchor';
  /** Bits of the composite. Default: as the frames. */
  bits?: 8 | 16;
  /** File type of the composite. Default 'tif'. */
  format: 'tif' | 'png' | 'jpg';
  /** Merge at 1 / `preview` of each side, for a quick look. Default: at full size. */
  preview?: PreviewFactor;
  /** Rail travel between frames, mm. */
  stepMm?: number;
  /** Rail position of each frame in capture order, mm (from a file). */
  positionsMm?: number[];
  /**
   * Position of each frame in a unit whose length is not known, such as focus steps of the camera (from a file). Depth
   * then counts steps of the mean length.
   */
  relativePositions?: number[];
  /** Which end of the stack is near. Default 'auto': the frames show it; see stack/focus-direction.ts. */
  direction: GivenDirection;
  /** Width of the anchor's field at the plane of focus, mm. */
  fieldWidthMm?: number;
  magnification?: number;
  pixelPitchUm?: number;
  /** Which motion is estimated. Default 'scale': scale and shift, with a small roll where the frames show it. */
  motion: MotionModel;
  /** Frame numbers to use, inclusive; default all. */
  frames?: [number, number];
  /** Frame numbers to leave out. */
  skip: number[];
  /** Which of a camera raw file and a JPEG of the same name is used. Default: raw, where all of them can be read. */
  prefer?: PreferredTwin;
  /** White balance of raw files. Default 'camera': what the anchor's camera noted. */
  whiteBalance: WhiteBalance;
  /** Exposure of raw files against what the sensor recorded, stops. Default 0. */
  exposureStops: number;
  /** Colour space of raw files. Default 'srgb'. */
  colourSpace: ColourSpace;
  /** Folder below which developed raw files are kept during the merge. Default: beside the result. */
  scratch?: string;
  /** Threads; default: the cores of the machine. */
  threads: number;
  /** What computes: the processor or a graphics processor. Default 'auto': a graphics processor where there is one. */
  device: 'auto' | 'cpu' | 'gpu' | `gpu:${number}`;
  /** Memory bound in MB; default: none but the machine's. */
  memoryMb?: number;
  /** Largest frame that is read, width times height in millions: a guard against bombs. Default 250. */
  maxMegapixels?: number;
  /** Replace an existing result folder as a whole. */
  overwrite: boolean;
  /** What orders the frames. Default: capture time where every frame has one of its own, else names; see `captureOrder`. */
  order?: GivenOrder;
  /** Turn a frame that cannot be read or aligned into an error instead of leaving it out. */
  strict: boolean;
}
