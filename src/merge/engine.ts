import type { SmallPicture } from '../blend/picture-so-far.js';
import type { CurveLevel, FocusCurves, MaskedDisc } from '../focus/focus-curves.js';
import type { PixelData, Size } from '../image/image.js';
import type { TransferCurve } from '../image/transfer-curve.js';
import type { Matrix3 } from '../image/transform.js';
import type { RowRange } from '../kernels/row-windows.js';
import type { SourceRule } from '../options/source-rule.js';
import type { SensorSpot } from '../rail/sensor-spot.js';
import type { FrameFile } from '../stack/frame.js';
import type { SurfaceMaps } from '../surface/surface.js';
import type { FedFrame } from './feed-engine.js';

/** A frame as the stations see it; its pixels are those that were put into `slotFor` its ordinal, or that are there. */
export interface EngineFrame {
  /** Place among the frames in use, from 1; the unit of all maps along the stack. */
  ordinal: number;
  /** Output pixel to frame pixel, both at full size. */
  toFrame: Matrix3;
  gainRatio: readonly [number, number, number];
}

/** Room for rows `from` to `to` - 1 of a frame, (rows, cols, 3). */
export interface FrameRows extends RowRange {
  pixels: PixelData;
}

/**
 * What computes the stations of one merge and keeps their state: the processor or a graphics processor. It is called in
 * this order: `follow` for every frame, `curves`, `findSurface`, `plan`, `findSpill` where it is wanted, `readMaps`,
 * `startBlend`, `blend` for every frame, `finish`.
 */
export interface MergeEngine {
  /** Frames that lie in slots at once: with two, one is put in place while the one before is worked on. */
  readonly slots: 1 | 2;
  /** Whether the pixels of a frame are there, and need not be put into a slot. Absent: they never are. */
  has?(ordinal: number): boolean;
  /**
   * Memory for the pixels of a frame, which the caller fills before the frame is worked on. One part, or several that share
   * some of their rows.
   */
  slotFor(ordinal: number): Promise<readonly FrameRows[]>;
  /** Follows the focus curves of a frame; in order of the ordinals. */
  follow(frame: EngineFrame): Promise<void>;
  /** The curves as they were followed; to be asked before the surface is made of them. */
  curves(): Promise<FocusCurves>;
  /**
   * The surface; returns the share of pixels with any detail above noise.
   *
   * @param nearSign Which way along the stack is nearer: 1 lower ordinals, -1 higher ones, 0 unknown.
   * @param blurPx Radius of the blur one frame away (see `measureBlur`); undefined: too few curves tell.
   */
  findSurface(nearSign: -1 | 0 | 1, blurPx: number | undefined): Promise<number>;
  /** Decides which frames each coefficient comes from. */
  plan(nearSign: -1 | 0 | 1, blurPx: number | undefined): Promise<void>;
  /** What near things spill over farther ones, which the blend then subtracts; returns the share of the picture. */
  findSpill(nearSign: -1 | 1, blurPx: number): Promise<number>;
  /**
   * The maps, which the caller may change; `sources` holds the ordinal of the frame that supplies the detail, (rows, cols);
   * 0 = none. The blend may be started before they are there.
   */
  readMaps(): Promise<{ maps: SurfaceMaps; sources: Uint16Array }>;
  /**
   * Makes room for the blend; what only the maps needed goes.
   *
   * @param lost See `measureLoss`.
   */
  startBlend(lost: number): Promise<void>;
  /** Adds a frame to the picture. */
  blend(frame: EngineFrame): Promise<void>;
  /** The picture as far as it is blended, made small; absent where it cannot be had for little. Between frames only. */
  pictureSoFar?(maxSide: number): Promise<SmallPicture | undefined>;
  /** The picture, interleaved RGB, (rows, cols, 3), full range of `bits`. */
  finish(bits: 8 | 16): Promise<Uint8Array | Uint16Array>;
  /** Ends all work at once; what is in work is rejected. */
  close(): Promise<void>;
}

/** An engine that reads the frames itself. */
export interface RemoteEngine
  extends Omit<MergeEngine, 'slots' | 'has' | 'slotFor' | 'follow' | 'blend' | 'pictureSoFar'> {
  /** See `findHotPixels` of rail/hot-pixels.ts. */
  findHotPixels(files: readonly FrameFile[]): Promise<SensorSpot[]>;
  /**
   * Follows the focus curves of all frames.
   *
   * @param onDone Told how many are done.
   */
  followAll(
    frames: readonly FedFrame[],
    hotPixels: readonly SensorSpot[],
    onDone: (done: number) => void,
  ): Promise<void>;
  /** Adds all frames to the picture. */
  blendAll(frames: readonly FedFrame[], onDone: (done: number) => void): Promise<void>;
}

export function isRemote(engine: MergeEngine | RemoteEngine): engine is RemoteEngine {
  return 'followAll' in engine;
}

/** What an engine is made for. */
export interface EngineTask {
  /** Of the composite. */
  size: Size;
  /** Of every frame, its bits, and those of the composite. */
  frame: Size;
  bits: 8 | 16;
  compositeBits: 8 | 16;
  /** Composite pixel to frame pixel, by ordinal - 1; and the numbers of the frames. */
  toFrame: readonly Matrix3[];
  numbers: readonly number[];
  /** Slots are not worth their memory: frames are read from the disk straight into them. */
  isStored: boolean;
  rule: SourceRule;
  /** Level at which the surface is found: see `surfaceLevelFor`. */
  surfaceLevel: CurveLevel;
  /** Distance of each frame but the last to the next, in usual steps. */
  steps: readonly number[];
  /** Frames that count as one step: see `frameUnit`. */
  unit: number;
  dust: readonly MaskedDisc[];
  /** From samples to light. */
  curve: TransferCurve;
  threads: number;
  /** Memory of zeros for what the engine gives back. */
  take: (bytes: number) => Uint8Array;
}
