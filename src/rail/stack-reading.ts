import { setImmediate } from 'node:timers/promises';
import type { Size } from '../image/image.js';
import { dustRun, hotFrames, minDetailPixels, minMotionPixels } from '../model/constants/rail.js';
import type { MotionSolution } from '../register/motion-solution.js';
import { estimatorOf } from '../register/motion-threads.js';
import { averageBoxes } from '../stack/average-boxes.js';
import type { DecodedFrame, Shrink } from '../stack/decode.js';
import type { FrameFile } from '../stack/frame.js';
import { encodedLuma } from './detail-grid.js';
import { findDust, planeShrink, type SpotPlane, spotLight, withoutHotPixels } from './find-dust.js';
import { type FocusFit, fitFocus } from './focus-fit.js';
import { type FrameFacts, type FrameMeasurements, measureFrame } from './frame-measurements.js';
import { readFullSize } from './full-size-reading.js';
import { searchHotPixels } from './hot-pixels.js';
import { pickRuns } from './pick-runs.js';
import type { DustSpot, SensorSpot } from './sensor-spot.js';
import { type StackTravel, stackTravel } from './stack-travel.js';

/**
 * What is measured on the frames of a stack: all that `judgeStack` judges by. A check and a merge gather it by the same
 * reading of the same reduced pictures, so that both reach the same verdict.
 */
export interface StackEvidence {
  /** Frames that could be read, in capture order, and what was measured of each. */
  files: FrameFile[];
  measurements: FrameMeasurements[];
  /** Frame to the middle frame. */
  motion: MotionSolution;
  /** Steps and shakes, in the order of `files`. */
  stackTravel: StackTravel;
  /** Where the tiles of the reduced frames come into focus. */
  fit: FocusFit;
  /** Half width of the focus curves of the finest detail, usual steps; NaN when unknown. */
  fineWidth: number;
  dust: DustSpot[];
  hotPixels: SensorSpot[];
}

/** What `judgeStack` asks of the evidence; a reading that goes on frame by frame keeps no more. */
export interface JudgedEvidence
  extends Pick<StackEvidence, 'files' | 'motion' | 'fit' | 'fineWidth' | 'dust' | 'hotPixels'> {
  measurements: FrameFacts[];
  stackTravel: Pick<StackTravel, 'blurred' | 'travel'> & { tiles: Pick<StackTravel['tiles'], 'columns'> };
}

/** Gathers the evidence of a stack while its reduced frames are read. */
export class StackReading {
  /** Reduction of the pictures to be added, which are decoded `quick`. */
  readonly shrink: Shrink;
  private readonly estimator;
  private readonly files: FrameFile[] = [];
  private readonly measurements: FrameMeasurements[] = [];
  private readonly hot = searchHotPixels();
  private readonly wantedHot: ReadonlySet<number>;
  /** Planes for the search for dust by index, their size, and full-size pixels per pixel. */
  private readonly planes = new Map<number, Float32Array>();
  private readonly wantedPlanes: ReadonlySet<number>;
  private readonly planeSize: Size;
  private readonly boxes: number;
  /** Brightness of the frame added last, (rows, cols) of `reduced`, 0 to 255. */
  readonly luma: Float32Array<ArrayBuffer>;
  /** Size of the reduced pictures. */
  readonly reduced: Size;

  /**
   * @param count Number of frames to come; some of them may prove unreadable.
   * @param shrink Default: the largest reduction that leaves enough pixels to measure detail.
   * @param threads That measure motion beside this one; default: none.
   */
  constructor(
    private readonly size: Size,
    count: number,
    shrink: Shrink = shrinkFor(size),
    threads = 0,
  ) {
    this.shrink = shrink;
    this.estimator = estimatorOf({ motion: 'scale', fullSize: size }, threads);
    const reduced = {
      width: Math.floor(size.width / this.shrink),
      height: Math.floor(size.height / this.shrink),
    };
    this.reduced = reduced;
    this.boxes = planeShrink(reduced);
    this.planeSize = {
      width: Math.floor(reduced.width / this.boxes),
      height: Math.floor(reduced.height / this.boxes),
    };
    this.luma = new Float32Array(reduced.width * reduced.height);
    this.wantedPlanes = new Set(pickRuns(count, dustRun).flat());
    const pitch = (count - 1) / (Math.min(hotFrames, count) - 1);
    this.wantedHot = new Set(Array.from({ length: count }, (_, i) => Math.round(i * pitch)));
  }

  /** Takes the next frame that could be read; to be called frame by frame, without waiting. */
  async add(file: FrameFile, decoded: DecodedFrame): Promise<void> {
    const index = this.files.length;
    encodedLuma(decoded, this.luma);
    if (this.shrink === 1 && this.wantedHot.has(index)) this.hot.add(decoded);
    if (this.wantedPlanes.has(index)) this.planes.set(index, spotLight(this.luma, decoded, this.boxes));
    this.files.push(file);
    this.measurements.push(measureFrame(file.number, decoded, this.luma));
    await this.estimator.add({ number: file.number, ...motionPicture(decoded) });
  }

  /**
   * Call after all frames, two at least, have been added: solves the motion, reads a few frames in full, and resolves
   * to the evidence.
   */
  async finish(
    decodeFull: (frame: FrameFile) => Promise<DecodedFrame>,
    signal: AbortSignal | undefined,
  ): Promise<StackEvidence> {
    const { files, measurements, size, shrink } = this;
    const motion = await this.estimator.solveInParts(files[(files.length - 1) >> 1].number);
    const travelled = stackTravel(
      measurements.map(({ detail }) => detail),
      motion.frames,
      size,
      shrink,
    );
    const { tiles, curves, blurred, travel } = travelled;
    await setImmediate();
    const fit = fitFocus(curves, travel.positions);
    const fullSize =
      shrink === 1
        ? { hotPixels: this.hot.found(), fineWidth: undefined }
        : await readFullSize(files, motion, fit, tiles, travel.positions, decodeFull, signal);
    const dust = findDust(
      pickRuns(files.length, dustRun).map((run) => run.map((k) => this.spotPlane(k, motion, blurred))),
      this.planeSize,
      shrink * this.boxes,
    );
    const fineWidth = Math.min(fit.width, fullSize.fineWidth ?? fit.width);
    return {
      files,
      measurements: measurements,
      motion,
      stackTravel: travelled,
      fit,
      fineWidth,
      dust: withoutHotPixels(dust, fullSize.hotPixels),
      hotPixels: fullSize.hotPixels,
    };
  }

  /** The plane of frame k for the search for dust; undefined for a frame that is not aligned or is shaken. */
  private spotPlane(k: number, motion: MotionSolution, blurred: ReadonlySet<number>): SpotPlane | undefined {
    const light = this.planes.get(k);
    const { usable, matrix } = motion.frames[k];
    return light && usable && !blurred.has(k) ? { light, matrix } : undefined;
  }
}

/** The picture that motion is measured on: half the size where that leaves enough. */
export function motionPicture({ pixels, width, height, channels, bits, shrink }: DecodedFrame) {
  const halve = (width * height) / 4 >= minMotionPixels;
  const factor = halve ? 2 * shrink : shrink;
  return {
    pixels: halve ? averageBoxes(pixels, width, height, channels, 2) : pixels,
    width: halve ? width >> 1 : width,
    height: halve ? height >> 1 : height,
    channels,
    bits,
    factorX: factor,
    factorY: factor,
  };
}

/** The largest reduction that leaves enough pixels to measure detail. */
export function shrinkFor({ width, height }: Size): Shrink {
  const shrinks: Shrink[] = [8, 4, 2];
  return shrinks.find((shrink) => (width * height) / shrink ** 2 >= minDetailPixels) ?? 1;
}
