import { setImmediate } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import type { Size } from '../image/image.js';
import {
  dustRun,
  hotFrames,
  minDetailPixels,
  minMotionPixels,
  spotBandsPerThread,
} from '../model/constants/rail.js';
import type { MotionModel } from '../options/motion-model.js';
import type { MotionLayout } from '../register/frame-meter.js';
import type { MotionEstimator } from '../register/motion-estimator.js';
import type { MotionSolution } from '../register/motion-solution.js';
import { estimatorOf, type MotionThreads, type StartMotion } from '../register/motion-threads.js';
import type { DecodedFrame, Shrink } from '../stack/decode.js';
import type { FrameFile } from '../stack/frame.js';
import { TaskPool } from '../workers/task-pool.js';
import {
  findDust,
  pickDust,
  planDustSearch,
  planeShrink,
  type SpotPlane,
  withoutHotPixels,
} from './find-dust.js';
import { tilePeaks } from './focus-curves.js';
import { type FocusFit, fitFocus } from './focus-fit.js';
import type { FrameFacts, FrameMeasurements } from './frame-measurements.js';
import {
  type FullSizeMeasurement,
  type FullSizePlan,
  measureFullSize,
  readFullSize,
} from './full-size-reading.js';
import { searchHotPixels } from './hot-pixels.js';
import { pickRuns } from './pick-runs.js';
import {
  motionPicture,
  motionShape,
  type ReadFrame,
  readFrame,
  reducedSize,
  type WantedOfFrame,
} from './read-frame.js';
import type { ReadingTasks } from './reading-tasks.js';
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

/** A motion that is wanted beside the evidence; its model shares the pairs of `evidenceMotion`. */
export interface MotionRequest {
  anchorNumber: number;
  model: MotionModel;
}

/** What a reading finds. */
export interface FinishedReading {
  evidence: StackEvidence;
  /** As it was asked for; of the evidence by default. */
  motion: MotionSolution;
}

/** The model of motion by which a stack is judged, whichever a merge uses: with scale, which tells how the picture grows. */
export const evidenceMotion: MotionModel = 'scale';

/** Takes the brightness of some frames: see `ReadFrame`. */
export interface BrightnessTaker {
  /** @param index Of the frame among those that could be read. */
  wants(index: number): boolean;
  /** To be called once for each of them, in order. */
  take(index: number, brightness: Uint8Array): void;
}

/** How a reading is done. */
export interface ReadingOptions {
  /** Default: the largest reduction that leaves enough pixels to measure detail. */
  shrink?: Shrink | undefined;
  /** That read frames and measure motion beside this one; default: none. */
  threads?: number;
  brightness?: BrightnessTaker;
}

/** Gathers the evidence of a stack while its reduced frames are read. To be closed. */
export class StackReading {
  /** Reduction of the pictures to be added, see `decodeFrame`. */
  readonly shrink: Shrink;
  private readonly estimator: MotionEstimator | MotionThreads;
  private readonly threads: number;
  private pool: TaskPool<ReadingTasks> | undefined;
  private readonly brightness: BrightnessTaker | undefined;
  private readonly files: FrameFile[] = [];
  private readonly measurements: FrameMeasurements[] = [];
  /** Done when all frames that were added are measured and handed on for motion. */
  private taken: Promise<void> = Promise.resolve();
  private readonly hot = searchHotPixels();
  private readonly wantedHot: ReadonlySet<number>;
  /** Planes for the search for dust by index, their size, and full-size pixels per pixel. */
  private readonly planes = new Map<number, Float32Array>();
  private readonly wantedPlanes: ReadonlySet<number>;
  private readonly planeSize: Size;
  private readonly boxes: number;
  /** Size of the reduced pictures. */
  private readonly reduced: Size;

  /** @param count Number of frames to come; some of them may prove unreadable. */
  constructor(
    private readonly size: Size,
    count: number,
    { shrink = shrinkFor(size), threads = 0, brightness }: ReadingOptions = {},
  ) {
    this.shrink = shrink;
    this.threads = threads;
    this.brightness = brightness;
    const startThreads: StartMotion = (layout) => this.startThreads(layout);
    this.estimator = estimatorOf({ motion: evidenceMotion, fullSize: size }, threads, startThreads);
    const reduced = reducedSize(size, shrink);
    this.reduced = reduced;
    this.boxes = planeShrink(reduced);
    this.planeSize = reducedSize(reduced, this.boxes);
    this.wantedPlanes = new Set(pickRuns(count, dustRun).flat());
    const pitch = (count - 1) / (Math.min(hotFrames, count) - 1);
    this.wantedHot = new Set(Array.from({ length: count }, (_, i) => Math.round(i * pitch)));
  }

  /** Starts its threads before the first frame, of which no more than its type need be known. */
  start({ channels, bits }: Pick<DecodedFrame, 'channels' | 'bits'>): void {
    if (!('start' in this.estimator) || this.pool) return;
    this.estimator.start(motionShape({ ...this.reduced, channels, bits, shrink: this.shrink }));
  }

  /**
   * Takes the next frame that could be read; its pixels may be reused once this is done. To be called frame by frame,
   * without waiting.
   */
  async add(file: FrameFile, decoded: DecodedFrame): Promise<void> {
    const index = this.files.push(file) - 1;
    if (this.shrink === 1 && this.wantedHot.has(index)) this.hot.add(decoded);
    const wanted: WantedOfFrame = {
      planeShrink: this.wantedPlanes.has(index) ? this.boxes : undefined,
      brightness: this.brightness?.wants(index),
    };
    if (this.threads > 0) return this.readApart(index, decoded, wanted);
    const read = readFrame(file.number, decoded, wanted);
    const kept = { plane: read.plane?.slice(), brightness: read.brightness?.slice() };
    this.take(index, { ...read, ...kept });
    await this.addMotion(index, decoded);
  }

  /**
   * Call after all frames, two at least, have been added: solves the motion, reads a few frames in full, and resolves
   * to the evidence.
   *
   * @param wanted A motion that is wanted, too.
   */
  finish(
    decodeFull: (frame: FrameFile) => Promise<DecodedFrame>,
    signal: AbortSignal | undefined,
    wanted?: MotionRequest,
  ): Promise<FinishedReading> {
    return this.finishBy((plan) => measureFullSize(plan, (k) => decodeFull(this.files[k]), signal), wanted);
  }

  /** As `finish`, with what measures the frames that are read in full. */
  async finishBy(
    readFull: (plan: FullSizePlan) => Promise<FullSizeMeasurement>,
    wanted?: MotionRequest,
  ): Promise<FinishedReading> {
    const { files, measurements, size, shrink } = this;
    await this.taken;
    const middle = files[(files.length - 1) >> 1].number;
    const motion = await this.estimator.solveInParts(middle);
    const isOther = wanted && (wanted.anchorNumber !== middle || wanted.model !== evidenceMotion);
    const solved = isOther ? this.estimator.solveInParts(wanted.anchorNumber, wanted.model) : motion;
    // Told where it is awaited.
    Promise.resolve(solved).catch(() => {});
    const travelled = stackTravel(
      measurements.map(({ detail }) => detail),
      motion.frames,
      size,
      shrink,
    );
    const { tiles, curves, blurred, travel } = travelled;
    const searched = this.searchDust(motion, blurred);
    // Told where it is awaited.
    searched.catch(() => {});
    const full =
      shrink > 1
        ? readFullSize(motion, tilePeaks(curves), tiles, travel.positions, readFull)
        : { hotPixels: this.hot.found(), fineWidth: undefined };
    Promise.resolve(full).catch(() => {});
    await setImmediate();
    const fit = fitFocus(curves, travel.positions);
    const { hotPixels, fineWidth } = await full;
    const evidence = {
      files,
      measurements,
      motion,
      stackTravel: travelled,
      fit,
      fineWidth: Math.min(fit.width, fineWidth ?? fit.width),
      dust: withoutHotPixels(await searched, hotPixels),
      hotPixels,
    };
    return { evidence, motion: await solved };
  }

  /** Ends its threads, whatever they are at. */
  async close(): Promise<void> {
    if ('close' in this.estimator) await this.estimator.close();
  }

  private startThreads(layout: MotionLayout): TaskPool<ReadingTasks> {
    const file = fileURLToPath(new URL('../../dist/bundles/reading-task-worker.js', import.meta.url));
    this.pool = new TaskPool<ReadingTasks>(file, { layout }, this.threads);
    return this.pool;
  }

  /** Has a thread read a frame; done when its pixels may be reused. */
  private async readApart(index: number, decoded: DecodedFrame, wanted: WantedOfFrame): Promise<void> {
    this.start(decoded);
    const { number } = this.files[index];
    let send: () => void = () => {};
    const sent = new Promise<void>((resolve) => {
      send = resolve;
    });
    const read = this.pool!.run('read', () => {
      send();
      return { number, decoded, wanted };
    });
    const moved = this.addMotion(index, decoded);
    // What follows goes by the order of the frames.
    this.taken = this.taken.then(async () => {
      this.take(index, await read);
      await moved;
    });
    this.taken.catch(() => {});
    // Pixels that are not shared were copied for the thread.
    const isShared = decoded.pixels.buffer instanceof SharedArrayBuffer;
    await Promise.all([moved, isShared ? read : Promise.race([sent, read])]);
  }

  private take(index: number, { measurements, plane, brightness }: ReadFrame): void {
    this.measurements.push(measurements);
    if (plane) this.planes.set(index, plane);
    if (brightness) this.brightness?.take(index, brightness);
  }

  /** Hands a frame on for its motion, in the order of the frames. */
  private async addMotion(index: number, decoded: DecodedFrame): Promise<void> {
    await this.estimator.add(motionPicture(this.files[index].number, decoded));
  }

  private async searchDust(motion: MotionSolution, blurred: ReadonlySet<number>): Promise<DustSpot[]> {
    const runs = pickRuns(this.files.length, dustRun).map((run) =>
      run.map((k) => this.spotPlane(k, motion, blurred)),
    );
    const { planeSize, pool } = this;
    const factor = this.shrink * this.boxes;
    if (!pool) return findDust(runs, planeSize, factor);
    const search = planDustSearch(runs, planeSize, factor);
    if (!search) return [];
    const bands = spotBandsPerThread * this.threads;
    const edges = Array.from({ length: bands + 1 }, (_, i) => Math.round((i * planeSize.height) / bands));
    const found = await Promise.all(
      edges.slice(1).map((to, i) => pool.run('spots', () => ({ search, from: edges[i], to }))),
    );
    return pickDust(found.flat(), factor);
  }

  /** The plane of frame k for the search for dust; undefined for a frame that is not aligned or is shaken. */
  private spotPlane(k: number, motion: MotionSolution, blurred: ReadonlySet<number>): SpotPlane | undefined {
    const light = this.planes.get(k);
    const { usable, matrix } = motion.frames[k];
    return light && usable && !blurred.has(k) ? { light, matrix } : undefined;
  }
}

/**
 * The largest reduction that leaves enough pixels to measure detail, and motion: finer pictures place a frame no better.
 *
 * @param isPreview Of frames that are reduced already: as a stack of so small frames is read.
 */
export function shrinkFor({ width, height }: Size, isPreview = false): Shrink {
  const shrinks: Shrink[] = [8, 4, 2];
  const pixels = isPreview ? minMotionPixels : minDetailPixels;
  return shrinks.find((shrink) => (width * height) / shrink ** 2 >= pixels) ?? 1;
}
