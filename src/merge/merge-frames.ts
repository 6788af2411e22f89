import { planSources, takePlan } from '../blend/plan-sources.js';
import { PyramidBlender } from '../blend/pyramid-blender.js';
import { SpillFinder, takeSpill } from '../blend/spill.js';
import { InputError } from '../errors.js';
import { FocusTracker } from '../focus/focus-tracker.js';
import type { Size } from '../image/image.js';
import type { PlacedFrame } from '../image/placed-frame.js';
import { Arena } from '../kernels/arena.js';
import type { MergeOptions } from '../options/merge-options.js';
import { findHotPixels } from '../rail/hot-pixels.js';
import { repairHotPixels } from '../rail/repair-hot-pixels.js';
import type { DustSpot } from '../rail/sensor-spot.js';
import { compositeToFrame } from '../result/composite-to-frame.js';
import { percentText } from '../result/report/numbers.js';
import type { CropRectangle } from '../result/run-record.js';
import { writeTogether } from '../result/write-together.js';
import { readIcc } from '../stack/exif.js';
import type { FocusDirection, PictureEvidence } from '../stack/focus-direction.js';
import { feedFrames } from '../stack/frame-feed.js';
import type { KeptFrames } from '../stack/kept-frames.js';
import { profileCurve } from '../stack/profile-curve.js';
import { isStored, readStored } from '../stack/stored-frame.js';
import { measureBlur, measureLoss } from '../surface/measure-blur.js';
import { seeThrough } from '../surface/see-through.js';
import { findSurface, frameUnit, readSurface, type SurfaceMaps } from '../surface/surface.js';
import { StripPool } from '../workers/pool.js';
import { focusLevels, frameSlots, workerScratchBytes } from './arena-need.js';
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
 * @param kept Serves this merge last: it is closed.
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
): Promise<MergedFrames<Found>> {
  const size = { width: crop.width, height: crop.height };
  const toFrame = frames.map(({ toAnchor }) => compositeToFrame(toAnchor, crop));
  const arena = new Arena();
  const maxRoll = Math.max(...frames.map(({ toAnchor }) => Math.abs(Math.atan2(toAnchor[3], toAnchor[0]))));
  const scratch = workerScratchBytes(size, frameSize, frames.length, maxRoll + 0.001);
  const pool = await StripPool.start(arena, options.threads, scratch);
  const stop = () => void pool.close();
  signal?.addEventListener('abort', stop);
  try {
    log.throwIfStopped();
    const frameBits = frames[0].file.bits;
    const pixelCount = frameSize.width * frameSize.height;
    // Reading from the disk takes no time that a second slot would be worth.
    const slotCount = frames.every(({ file }) => isStored(file)) ? 1 : frameSlots(frameSize);
    const slots = Array.from({ length: slotCount }, () => arena.take(pixelCount * 3 * (frameBits / 8) + 64));
    log.enter('focus');
    kept.decodeAhead(frames.map(({ file }) => file));
    const hotPixels = await findHotPixels(
      [...new Set([0, frames.length >> 1, frames.length - 1])].map(
        (k) => () => kept.decode(frames[k].file, 3),
      ),
    );
    const forEachFrame = async (visit: (frame: PlacedFrame) => Promise<void>, isLast: boolean) => {
      let done = 0;
      let visiting = Promise.resolve();
      const decode = async ({ file }: UsedFrame) =>
        isStored(file) ? undefined : kept.decode(file, 3, isLast);
      for await (const fed of feedFrames(frames, decode, 1)) {
        log.throwIfStopped();
        if ('error' in fed) throw fed.error;
        if (slots.length === 1) await visiting;
        const pointer = slots[fed.item.ordinal % slots.length];
        const samples = pixelCount * 3;
        const slot = frameBits === 8 ? arena.u8(pointer, samples) : arena.u16(pointer, samples);
        if (fed.value) slot.set(fed.value.pixels);
        else await readStored(fed.item.file, slot);
        repairHotPixels(slot, frameSize, hotPixels);
        await visiting;
        visiting = visit({
          pointer,
          bits: frameBits,
          ...frameSize,
          toFrame: toFrame[fed.item.ordinal - 1],
          gainRatio: fed.item.gainRatio,
          ordinal: fed.item.ordinal,
        }).then(() => log.progress(++done, frames.length));
        // Told where it is awaited.
        visiting.catch(() => {});
      }
      await visiting;
    };

    const curve = profileCurve(await readIcc(frames[0].file));
    const plan = takePlan(arena, size, frames.length);
    // `select` and `weigh` show frames as they are.
    const isAuto = options.rule === 'auto';
    const spill = isAuto ? takeSpill(arena, size) : undefined;
    const beforeTracker = arena.mark();
    const tracker = new FocusTracker(arena, pool, size, frameSize, focusLevels, dust);
    const spillFinder =
      spill && tracker.levels > 1 ? new SpillFinder(arena, pool, tracker, curve) : undefined;
    await forEachFrame(async (frame) => {
      await tracker.add(frame);
      await spillFinder?.note(frame);
    }, false);

    log.enter('surface');
    const blurPx = measureBlur(tracker, frames.length);
    const way = decideDirection(() => seeThrough(tracker, frames.length));
    const nearSign = nearSignOf(way);
    const lost = isAuto ? measureLoss(tracker, frames.length) : 0;
    const bounds = { toFrame, frame: frameSize };
    const surface = await findSurface(
      arena,
      pool,
      tracker,
      bounds,
      nearSign,
      steps,
      blurPx,
      frameUnit(focusWidthSteps),
    );
    if (surface.detailShare === 0) {
      throw new NothingSharpError(
        'Nothing in these frames is ever sharp: they show no detail above their noise. Check the focus and the light, then shoot again.',
      );
    }
    log.throwIfStopped();
    const { rule } = options;
    await planSources(arena, pool, plan, surface, toFrame, frameSize, rule, nearSign, blurPx);
    // Which of two things lies in front must be known.
    const isSpilled = spill && spillFinder && blurPx !== undefined && nearSign !== 0;
    if (isSpilled) {
      const share = await spillFinder.find(spill, surface, blurPx, nearSign);
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
    const maps = await readSurface(arena, pool, surface, bounds);
    const sources = arena.u16(plan.sources, size.width * size.height).slice();
    // The focus state has served: the blend takes its place in the arena.
    arena.release(beforeTracker);
    const blender = new PyramidBlender(
      arena,
      pool,
      size,
      frameSize,
      plan,
      curve,
      isSpilled ? spill : undefined,
      lost,
    );

    log.enter('blend');
    const blend = async () => {
      await forEachFrame((frame) => blender.add(frame), true);
      return blender.finish(bits);
    };
    const takeMaps = async (): Promise<Found> => onMaps({ maps, sources, way });
    const [out, found] = await writeTogether([blend(), takeMaps()]);
    const count = size.width * size.height * 3;
    return {
      pixels: bits === 8 ? arena.u8(out, count) : arena.u16(out, count),
      found,
    };
  } catch (error) {
    log.throwIfStopped();
    throw error;
  } finally {
    signal?.removeEventListener('abort', stop);
    kept.close();
    await pool.close();
  }
}
