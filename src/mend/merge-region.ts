import { rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { InputError } from '../errors.js';
import type { PixelData, Size } from '../image/image.js';
import { composeMatrices, invertMatrix } from '../image/transform.js';
import { depthAt } from '../merge/depth-scale.js';
import { keptFramesBytes, refuseOversized, threadsWithin } from '../merge/memory-need.js';
import { type FoundMaps, mergeFrames, NothingSharpError } from '../merge/merge-frames.js';
import { RunLog } from '../merge/run-log.js';
import { makeScratch } from '../merge/scratch-folder.js';
import type { UsedFrame } from '../merge/used-frame.js';
import { resolveOptions } from '../options/resolve-merge-options.js';
import type { SourceRule } from '../options/source-rule.js';
import { coverageClassNames } from '../result/coverage.js';
import type { RunRecord } from '../result/run-record.js';
import { writeTiff } from '../result/tiff-file.js';
import { KeptFrames } from '../stack/kept-frames.js';
import { mapLimited } from '../stack/map-limited.js';
import { widenSamples } from '../stack/widen-samples.js';
import { depthIndexOf } from '../surface/depth-index.js';
import { type AlignedRegion, frameFootprint } from '../trace/aligned-region.js';
import { readFrameRegion } from '../trace/frame-region.js';
import { clipRegion, growRegion, type PictureRegion } from '../trace/picture-region.js';
import type { StackFrame } from '../trace/stack-frames.js';
import { mendWindow, planesOf } from './blend-mend.js';
import { regionBounds } from './mend-region.js';
import type { Mend } from './mends-file.js';

/** A part of the composite as another rule merges it. */
export interface MergedRegion extends AlignedRegion {
  /** Where it lies in the composite. */
  window: PictureRegion;
  /** Numbers of the frames that supply the detail, shape (height, width); 0 = none. */
  sources: Uint16Array;
  /** Shape (height, width), as in depth.tif. */
  depth: Float32Array;
}

/** What a merge of a part depends on, beside the frames. */
export interface MergeRegionOptions {
  /** Profile of the frames: light is added by its transfer curve. */
  icc: Buffer | undefined;
  threads: number;
  signal?: AbortSignal | undefined;
  /** Told after each frame that was read. */
  onRead?: ((done: number, frames: number) => void) | undefined;
}

const outOfReach = coverageClassNames.indexOf('out-of-reach');

/** Pixels around a part that are merged with it: what coarse levels see there decides in it too. */
const contextPx = 64;
/** The grid of the coarser levels is that of the whole picture up to this side of a pixel. */
const gridPx = 16;
/** Frame pixels around the part that the coarsest followed focus measure reads; a multiple of that level's pixel. */
const measureMargin = 64;

/** Frames that are decoded at once, at most. */
const maxDecoded = 4;

/** Share of a region's longer side that is shown around it. */
const shownMargin = 0.15;

/** The part of the composite that shows a region with some of its surroundings. */
export function shownAround(bounds: PictureRegion, size: Size): PictureRegion {
  const margin = Math.round(shownMargin * Math.max(bounds.width, bounds.height)) + 4;
  return clipRegion(growRegion(bounds, margin), size)!;
}

/**
 * The part of the composite that is merged anew for a mend: what the blend reads and what is shown around it, with
 * context. Undefined when the region is empty.
 */
export function mergeWindow(mend: Pick<Mend, 'region' | 'featherPx'>, size: Size): PictureRegion | undefined {
  const bounds = regionBounds(mend.region, size);
  const blended = mendWindow(mend, size);
  if (!bounds || !blended) return undefined;
  const shown = shownAround(bounds, size);
  const left = Math.min(blended.x, shown.x) - contextPx;
  const top = Math.min(blended.y, shown.y) - contextPx;
  const right = Math.max(blended.x + blended.width, shown.x + shown.width) + contextPx;
  const bottom = Math.max(blended.y + blended.height, shown.y + shown.height) + contextPx;
  const down = (value: number) => Math.floor(value / gridPx) * gridPx;
  const [x, y] = [down(left), down(top)];
  return clipRegion({ x, y, width: -down(-right) - x, height: -down(-bottom) - y }, size);
}

/**
 * The frames of a result over a part of the composite, kept on the disk so that several rules can merge them: what
 * they show of it is decoded once. Motion, light and steps are those of run.json.
 */
export class RegionStack {
  private constructor(
    private readonly record: RunRecord,
    private readonly window: PictureRegion,
    private readonly folder: string,
    private readonly frames: readonly UsedFrame[],
  ) {}

  /**
   * @param frames Those in use.
   * @param pathOf Where a photograph lies; rejects when it is not the one that was merged.
   * @throws InputError when a photograph is missing or damaged, or the part is too large for the memory.
   */
  static async open(
    record: RunRecord,
    frames: readonly StackFrame[],
    pathOf: (frame: StackFrame) => Promise<string>,
    window: PictureRegion,
    { icc, threads, signal, onRead }: MergeRegionOptions,
  ): Promise<RegionStack> {
    const patch = commonFootprint(frames, window);
    // A stack is merged at the bits of its deepest frame, whatever the result was asked to have.
    const bits = record.bits === 16 || record.options.bits !== undefined ? 16 : 8;
    refuseOversized({ size: patch, bits, frames: frames.length }, undefined);
    const folder = await makeScratch(tmpdir());
    const writing: Promise<UsedFrame>[] = [];
    const write = (frame: StackFrame, i: number) => {
      const written = writePart(folder, frame, i + 1, pathOf, window, patch, bits, icc, signal);
      writing.push(written);
      return written;
    };
    try {
      const ordered = frames.map((frame, i) => ({ frame, i }));
      const limit = Math.max(1, Math.min(maxDecoded, threads));
      let done = 0;
      const read = async ({ frame, i }: (typeof ordered)[number]) => {
        const written = await write(frame, i);
        onRead?.(++done, frames.length);
        return written;
      };
      const used = await mapLimited(ordered, limit, read, signal);
      return new RegionStack(record, window, folder, used);
    } catch (error) {
      // What is still being written would be left behind.
      await Promise.allSettled(writing);
      await rm(folder, { recursive: true, force: true });
      throw error;
    }
  }

  /**
   * The part as `rule` merges it; the same for any number of threads.
   *
   * @throws InputError when nothing in it is sharp in any frame; InterruptedError when stopped.
   */
  async merge(rule: SourceRule, { threads: wanted, signal }: MergeRegionOptions): Promise<MergedRegion> {
    const { record, window, frames } = this;
    const { bits, size } = frames[0].file;
    const load = { size, bits, frames: frames.length };
    const options = resolveOptions({ rule });
    const threads = threadsWithin(load, wanted, undefined) ?? 1;
    const byNumber = new Map(record.frames.map((frame) => [frame.number, frame]));
    const steps = frames.slice(1).map(({ file }) => byNumber.get(file.number)!.travelSteps ?? 1);
    const { width, height } = window;
    const numbers = Uint16Array.from([0, ...frames.map(({ file }) => file.number)]);
    const depths = frames.map(({ file }) => byNumber.get(file.number)!.depth ?? Number.NaN);
    const takeMaps = ({ maps, sources: ordinals }: FoundMaps) => {
      const { depthIndices, fractionBits, coverage } = maps;
      const sources = ordinals.map((ordinal) => numbers[ordinal]);
      const depth = Float32Array.from(sources, (number, i) =>
        number === 0 || coverage[i] === outOfReach
          ? Number.NaN
          : depthAt(depths, depthIndexOf(depthIndices[i], fractionBits)),
      );
      return { sources, depth };
    };
    try {
      const { pixels, found } = await mergeFrames(
        frames,
        size,
        { x: 0, y: 0, width, height },
        bits,
        { ...options, threads },
        () => ({ direction: record.direction }),
        takeMaps,
        steps,
        record.focusWidthSteps,
        [],
        new KeptFrames(keptFramesBytes(load, threads, undefined)),
        new RunLog(signal ? { signal } : {}),
        signal,
      );
      const planes = planesOf(pixels, width * height, bits);
      const coveredFrom = new Int32Array(height);
      const coveredTo = new Int32Array(height).fill(width);
      return { window, width, height, planes, ...found, coveredFrom, coveredTo };
    } catch (error) {
      if (!(error instanceof NothingSharpError)) throw error;
      throw new InputError('Nothing is sharp here in any frame: no rule finds anything to merge.', {
        cause: error,
      });
    }
  }

  /** Removes what was kept on the disk. */
  async close(): Promise<void> {
    await rm(this.folder, { recursive: true, force: true });
  }
}

/** Writes what a frame shows of a part, as a frame of a stack that shows nothing else. */
async function writePart(
  folder: string,
  frame: StackFrame,
  ordinal: number,
  pathOf: (frame: StackFrame) => Promise<string>,
  window: PictureRegion,
  patch: PictureRegion,
  bits: 8 | 16,
  icc: Buffer | undefined,
  signal: AbortSignal | undefined,
): Promise<UsedFrame> {
  const { number, name, toFrame, gainRatio } = frame;
  const shown = await readFrameRegion(frame, await pathOf(frame), patch);
  const path = join(folder, `${number}.tif`);
  const pixels: PixelData = widenSamples(shown.pixels, 3, 3, bits);
  const { width, height } = patch;
  await writeTiff(path, pixels, width, height, 3, { icc, signal });
  const fromWindow = composeMatrices(toFrame, [1, 0, window.x, 0, 1, window.y, 0, 0, 1]);
  return {
    file: {
      ...{ number, path, name, sizeBytes: pixels.byteLength, modifiedMs: 0, size: { width, height } },
      ...{ bits, channels: 3, hasAlpha: false, format: 'tiff', orientation: 1, exif: {} },
    },
    ordinal,
    toAnchor: invertMatrix(composeMatrices([1, 0, -patch.x, 0, 1, -patch.y, 0, 0, 1], fromWindow)),
    gainRatio: [...gainRatio],
  };
}

/** A part of a merged region. */
export function cutMerged(merged: MergedRegion, part: PictureRegion): MergedRegion {
  const { x, y, width, height } = part;
  const cut = <T extends Float32Array | Uint16Array>(plane: T, into: T): T => {
    for (let row = 0; row < height; row++) {
      const start = (row + y - merged.window.y) * merged.width + x - merged.window.x;
      into.set(plane.subarray(start, start + width), row * width);
    }
    return into;
  };
  const count = width * height;
  const [red, green, blue] = merged.planes.map((plane) => cut(plane, new Float32Array(count)));
  return {
    window: part,
    width,
    height,
    planes: [red, green, blue],
    sources: cut(merged.sources, new Uint16Array(count)),
    depth: cut(merged.depth, new Float32Array(count)),
    coveredFrom: new Int32Array(height),
    coveredTo: new Int32Array(height).fill(width),
  };
}

/** The rectangle of frame pixels from which all frames show the part, the same in each. */
function commonFootprint(frames: readonly StackFrame[], window: PictureRegion): PictureRegion {
  const parts = frames.flatMap(
    ({ toFrame, size }) => frameFootprint(toFrame, window, size, measureMargin) ?? [],
  );
  const down = (value: number) => Math.floor(value / 8) * 8;
  const x = down(Math.min(...parts.map((part) => part.x)));
  const y = down(Math.min(...parts.map((part) => part.y)));
  const right = Math.max(...parts.map((part) => part.x + part.width));
  const bottom = Math.max(...parts.map((part) => part.y + part.height));
  return { x, y, width: right - x, height: bottom - y };
}
