import { growingSide } from '../blend/picture-so-far.js';
import { InputError } from '../errors.js';
import { GpuError } from '../gpu/gpu-error.js';
import type { Size } from '../image/image.js';
import type { MergeOptions } from '../options/merge-options.js';
import { findHotPixels } from '../rail/hot-pixels.js';
import type { DustSpot } from '../rail/sensor-spot.js';
import { compositeToFrame } from '../result/composite-to-frame.js';
import { percentText } from '../result/report/numbers.js';
import type { CropRectangle } from '../result/run-record.js';
import { writeTogether } from '../result/write-together.js';
import { readIcc } from '../stack/exif.js';
import type { FocusDirection, PictureEvidence } from '../stack/focus-direction.js';
import type { KeptFrames } from '../stack/kept-frames.js';
import { profileCurve } from '../stack/profile-curve.js';
import { isStored } from '../stack/stored-frame.js';
import { measureBlur, measureLoss } from '../surface/measure-blur.js';
import { seeThrough } from '../surface/see-through.js';
import { frameUnit, type SurfaceMaps, surfaceLevelFor } from '../surface/surface.js';
import {
  type EngineFrame,
  type EngineTask,
  isRemote,
  type MergeEngine,
  type RemoteEngine,
} from './engine.js';
import { type FramePass, feedEngine } from './feed-engine.js';
import { placerOf } from './frame-placer.js';
import type { FrameThread } from './frame-thread.js';
import type { MergeDevice } from './merge-device.js';
import { ProcessorEngine } from './processor-engine.js';
import type { RunLog } from './run-log.js';
import type { UsedFrame } from './used-frame.js';

/** What is known of a picture before it is blended. */
export interface FoundMaps {
  maps: SurfaceMaps;
  /** Ordinal of the frame that supplies the detail, (rows, cols); 0 = none. */
  sources: Uint16Array;
  way: FocusDirection;
}

export interface MergedFrames<Found> {
  /** Interleaved RGB, (rows, cols, 3), full range of `bits`. */
  pixels: Uint8Array | Uint16Array;
  /** What `onMaps` made of the maps. */
  found: Found;
}

/** Frames that show no detail above their noise. */
export class NothingSharpError extends InputError {}

/** Decides which end is near; `look` asks the focus curves, once they are followed. */
export type DecideDirection = (look: () => PictureEvidence | undefined) => FocusDirection;

/** Which way along the stack is nearer: 1 lower ordinals, -1 higher ones, 0 unknown. */
function nearSignOf({ direction }: FocusDirection): -1 | 0 | 1 {
  return direction === 'near-to-far' ? 1 : direction === 'far-to-near' ? -1 : 0;
}

/**
 * The second and third reading of a stack: focus curves, then, with the surface known, the picture.
 * Memory is a fixed number of bytes a pixel, whatever the number of frames.
 *
 * @param kept Serves this merge last: it is closed, but where a GpuError is thrown.
 * @param device The graphics processor that merges, which is closed but not waited for; undefined: the processor. Where it goes away or is too
 *   small, GpuError is thrown.
 * @param thread That frames are decoded in, and put in place from; undefined: this one.
 * @param take Takes memory of zeros for the picture and its maps. Default: of this thread alone.
 * @param onMaps Takes the maps as soon as they are final, and works on them beside the blend.
 */
export async function mergeFrames<Found>(
  frames: readonly UsedFrame[],
  frameSize: Size,
  crop: CropRectangle,
  bits: 8 | 16,
  options: MergeOptions,
  decideDirection: DecideDirection,
  onMaps: (found: FoundMaps) => Found | Promise<Found>,
  steps: readonly number[],
  focusWidthSteps: number | undefined,
  dust: readonly DustSpot[],
  kept: KeptFrames,
  log: RunLog,
  signal: AbortSignal | undefined,
  device?: MergeDevice,
  thread?: FrameThread,
  take = (bytes: number): Uint8Array => new Uint8Array(bytes),
): Promise<MergedFrames<Found>> {
  const size = { width: crop.width, height: crop.height };
  const { rule } = options;
  const icc = await readIcc(frames[0].file);
  const task: EngineTask = {
    size,
    frame: frameSize,
    bits: frames[0].file.bits,
    compositeBits: bits,
    toFrame: frames.map(({ toAnchor }) => compositeToFrame(toAnchor, crop)),
    numbers: frames.map(({ file }) => file.number),
    isStored: frames.every(({ file }) => isStored(file)),
    rule,
    surfaceLevel: surfaceLevelFor(rule, size, steps),
    steps,
    unit: frameUnit(focusWidthSteps),
    dust,
    curve: profileCurve(icc),
    threads: options.threads,
    take,
  };
  const engine: MergeEngine | RemoteEngine = device
    ? await device.start(task)
    : await ProcessorEngine.start(task);
  const stop = () => void engine.close();
  signal?.addEventListener('abort', stop);
  let isToBeRepeated = false;
  try {
    log.throwIfStopped();
    log.enter('focus');
    const files = frames.map(({ file }) => file);
    const fed = frames.map(({ file, ordinal, toAnchor, gainRatio }) => ({
      file,
      frame: { ordinal, toFrame: compositeToFrame(toAnchor, crop), gainRatio },
    }));
    const onDone = (done: number) => {
      // Who has stopped the merge need not be told.
      if (!signal?.aborted) log.progress(done, frames.length);
    };
    const placer = thread ?? placerOf(kept, frameSize);
    const feed = (
      to: MergeEngine,
      visit: (frame: EngineFrame) => Promise<void>,
      pass: Pick<FramePass, 'hotPixels' | 'isLast'>,
    ) => {
      return feedEngine(to, { frames: fed, ...pass }, placer, visit, () => log.throwIfStopped(), onDone);
    };
    const decodeMissing = (areAll = false) => {
      if (isRemote(engine)) return;
      kept.decodeAhead(files.filter((_, k) => areAll || !engine.has?.(k + 1)));
    };
    decodeMissing();
    const asked = [...new Set([0, frames.length >> 1, frames.length - 1])].map((k) => files[k]);
    const finder = isRemote(engine) ? engine : thread;
    const hotPixels = finder
      ? await finder.findHotPixels(asked)
      : await findHotPixels(asked.map((file) => () => kept.decode(file, 3)));
    if (hotPixels.length > 0) decodeMissing(true);
    if (isRemote(engine)) await engine.followAll(fed, hotPixels, onDone);
    else await feed(engine, (frame) => engine.follow(frame), { hotPixels, isLast: false });
    // For the blend, beside the surface.
    decodeMissing();

    log.enter('surface');
    const curves = await engine.curves();
    const blurPx = measureBlur(curves, frames.length);
    const way = decideDirection(() => seeThrough(curves, frames.length));
    const nearSign = nearSignOf(way);
    const lost = rule === 'auto' ? measureLoss(curves, frames.length) : 0;
    const detailShare = await engine.findSurface(nearSign, blurPx);
    if (detailShare === 0) {
      throw new NothingSharpError(
        'Nothing in these frames is ever sharp: they show no detail above their noise. Check the focus and the light, then shoot again.',
      );
    }
    log.throwIfStopped();
    await engine.plan(nearSign, blurPx);
    // Which of two things lies in front must be known.
    if (rule === 'auto' && blurPx !== undefined && nearSign !== 0) {
      const share = await engine.findSpill(nearSign, blurPx);
      if (share > 0) {
        log.note(
          `The blur of near things (${blurPx.toFixed(1)} px a frame) was cleared from what lies behind, in ${percentText(100 * share)} of the picture.`,
        );
      }
    }
    // Halfway between two frames detail is half a frame from either.
    const restored = lost / 4;
    if (restored >= 0.01) {
      log.note(
        `Fine detail halfway between two planes of focus was strengthened by ${percentText(100 * restored)}, at most what it had lost there.`,
      );
    }
    const reading = engine.readMaps();
    // Told where it is awaited.
    reading.catch(() => {});
    await engine.startBlend(lost);

    log.enter('blend');
    const blendFrame = async (to: MergeEngine, frame: EngineFrame) => {
      await to.blend(frame);
      const done = { done: frame.ordinal, frames: frames.length };
      await log.showPicture(async () => {
        const picture = await to.pictureSoFar?.(growingSide);
        return picture && { ...picture, ...done, icc };
      });
    };
    const blend = async () => {
      if (isRemote(engine)) await engine.blendAll(fed, onDone);
      else await feed(engine, (frame) => blendFrame(engine, frame), { hotPixels, isLast: true });
      return engine.finish(bits);
    };
    const takeMaps = async (): Promise<Found> => onMaps({ ...(await reading), way });
    const [pixels, found] = await writeTogether([blend(), takeMaps()]);
    return { pixels, found };
  } catch (error) {
    log.throwIfStopped();
    isToBeRepeated = error instanceof GpuError;
    throw error;
  } finally {
    signal?.removeEventListener('abort', stop);
    if (!isToBeRepeated) kept.close();
    const closing = engine.close();
    // A device is waited for by who has opened it: it takes a moment, in which the result may be written.
    if (!device) await closing;
  }
}
