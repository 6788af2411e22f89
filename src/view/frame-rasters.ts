import type { Matrix3 } from '../image/transform.js';
import { flatTiffOf } from '../mend/flat-tiff.js';
import { Raster, type RowSource, readRegion } from '../mend/raster.js';
import { widenSamples } from '../stack/widen-samples.js';
import { type AlignedRegion, alignRegion, frameFootprint } from '../trace/aligned-region.js';
import { pixelFile } from '../trace/developed-copy.js';
import type { FramePatch } from '../trace/frame-region.js';
import type { LocalKernels } from '../trace/local-kernels.js';
import { clipRegion, type PictureRegion } from '../trace/picture-region.js';
import type { StackFrame } from '../trace/stack-frames.js';
import type { CheckedFrames } from './checked-frames.js';
import { FramePatches } from './frame-patches.js';
import { Gate, shareWork } from './gate.js';
import { readReduced } from './reduce.js';
import { type ReducedFrame, ReducedFrames } from './reduced-frames.js';
import type { Store } from './store.js';

/** Frames that are kept open as a whole: each may take the disk space of an uncompressed picture. */
const maxOpen = 6;

/** Frames as the composite sees them, at any scale, by parts. */
export class FrameRasters {
  private readonly open = new Map<number, Promise<Raster>>();
  private readonly patches = new FramePatches();
  private readonly reduced = new ReducedFrames();
  /** Two decodings at once leave the processor to the page. */
  private readonly gate = new Gate(2);

  constructor(
    private readonly store: Store,
    private readonly checked: CheckedFrames,
    private readonly kernels: LocalKernels,
  ) {}

  /** A frame aligned to a region of the composite at full size; undefined when it does not cover it. */
  async align(frame: StackFrame, region: PictureRegion): Promise<AlignedRegion | undefined> {
    const footprint = frameFootprint(frame.toFrame, region, frame.size);
    if (!footprint) return undefined;
    const source = await this.over(frame, footprint);
    const bits = source.bits === 16 ? 16 : 8;
    const samples = readRegion(source, footprint) as FramePatch['pixels'];
    const pixels = widenSamples(samples, source.channels < 3 ? 1 : 3, 3, bits);
    const patch = { ...footprint, pixels, bits } satisfies FramePatch;
    return alignRegion(this.kernels, patch, frame.size, frame.toFrame, frame.gainRatio, region);
  }

  /**
   * As `align`, for a region in pixels of a level that shows the composite at 1 / step.
   *
   * @param isTile Others of the same frame will follow: it is worth decoding as a whole.
   * @param signal Aborted when nobody waits for the region any more: rejects with InterruptedError.
   */
  async alignReduced(
    frame: StackFrame,
    region: PictureRegion,
    step: number,
    isTile: boolean,
    signal?: AbortSignal,
  ): Promise<AlignedRegion | undefined> {
    if (step === 1) {
      // Of a preview all of the reduced frame is kept in memory anyway.
      if (isTile && !frame.reduced) await shareWork(() => this.raster(frame, signal), signal);
      return this.align(frame, region);
    }
    const toFrame = reducedMatrix(frame.toFrame, step);
    const size = { width: Math.ceil(frame.size.width / step), height: Math.ceil(frame.size.height / step) };
    const footprint = frameFootprint(toFrame, region, size);
    if (!footprint) return undefined;
    const { source, shrink } = isTile
      ? await this.reducedWhole(frame, step, signal)
      : await this.reducedPart(frame, footprint, step);
    const means = readReduced(source, footprint, step / shrink, 'mean');
    const grey = source.channels < 3;
    const pixels = new Uint8Array(footprint.width * footprint.height * 3);
    const unit = source.bits === 16 ? 257 : 1;
    for (let i = 0; i < pixels.length; i++) pixels[i] = means[grey ? Math.floor(i / 3) : i] / unit + 0.5;
    const patch: FramePatch = { ...footprint, pixels, bits: 8 };
    return alignRegion(this.kernels, patch, size, toFrame, frame.gainRatio, region);
  }

  /** All of a frame, reduced while it is decoded as far as `step` allows; read where it lies, if the file allows. */
  private async reducedWhole(frame: StackFrame, step: number, signal?: AbortSignal): Promise<ReducedFrame> {
    const path = await this.checked.path(frame);
    if (await this.isReadInPlace(frame, path)) {
      return { source: await shareWork(() => this.raster(frame, signal), signal), shrink: 1 };
    }
    return shareWork(
      () => this.reduced.read(frame, path, step, (work) => this.gate.pass(work, signal)),
      signal,
    );
  }

  private async reducedPart(
    frame: StackFrame,
    footprint: PictureRegion,
    step: number,
  ): Promise<ReducedFrame> {
    const full = {
      x: footprint.x * step,
      y: footprint.y * step,
      width: footprint.width * step,
      height: footprint.height * step,
    };
    return { source: await this.over(frame, clipRegion(full, frame.size)!), shrink: 1 };
  }

  /** A frame of which a window can be read: where it lies, if the file allows, else decoded there and no further. */
  private async over(frame: StackFrame, window: PictureRegion): Promise<RowSource> {
    const path = await this.checked.path(frame);
    if (frame.reduced)
      return (await this.reduced.read(frame, path, 1, (work) => this.gate.pass(work))).source;
    if (await this.isReadInPlace(frame, path)) {
      return shareWork(() => this.raster(frame));
    }
    return this.patches.over(frame, path, window);
  }

  private async isReadInPlace(frame: StackFrame, path: string): Promise<boolean> {
    return !frame.reduced && (this.open.has(frame.number) || (await isFlatPhotograph(path)));
  }

  /** To be called when nobody asks any more. */
  async close(): Promise<void> {
    const rasters = await Promise.allSettled(this.open.values());
    this.open.clear();
    for (const raster of rasters) if (raster.status === 'fulfilled') await raster.value.close();
  }

  private raster(frame: StackFrame, signal?: AbortSignal): Promise<Raster> {
    const known = this.open.get(frame.number);
    if (known) {
      // The map's order is that of last use.
      this.open.delete(frame.number);
      this.open.set(frame.number, known);
      return known;
    }
    const opening = this.checked.path(frame).then(async (photograph) => {
      const path = await pixelFile(frame, photograph);
      const flat = (await isFlatPhotograph(path)) ? await Raster.open(path) : undefined;
      return flat ?? this.gate.pass(() => this.store.copy(path, 'colour'), signal);
    });
    this.open.set(frame.number, opening);
    opening.catch(() => this.open.delete(frame.number));
    if (this.open.size > maxOpen) {
      const [oldest, raster] = this.open.entries().next().value!;
      this.open.delete(oldest);
      // Work on it that is under way has read its rows before this turn comes.
      void raster.then((unused) => setTimeout(() => void unused.close(), 1000)).catch(() => undefined);
    }
    return opening;
  }
}

/** Whether a file is a TIFF of which any row can be read where it lies, and holds nothing beside its colours. */
async function isFlatPhotograph(path: string): Promise<boolean> {
  const layout = /\.tiff?$/i.test(path) ? await flatTiffOf(path).catch(() => undefined) : undefined;
  return layout !== undefined && layout.bits !== 32 && (layout.channels === 1 || layout.channels === 3);
}

/** A full-size matrix between grids that are reduced by blocks: pixel j stands at (j + 0.5) step - 0.5. */
export function reducedMatrix([a, b, c, d, e, f]: Matrix3, step: number): Matrix3 {
  const half = (step - 1) / 2;
  return [
    a,
    b,
    (a * half + b * half + c - half) / step,
    d,
    e,
    (d * half + e * half + f - half) / step,
    0,
    0,
    1,
  ];
}
