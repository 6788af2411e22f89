import { rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { InputError, InterruptedError, named, UsageError } from '../errors.js';
import { optionError, requireOptions } from '../option-error.js';
import type { MergeOptions } from '../options/merge-options.js';
import { resolveOptions } from '../options/resolve-merge-options.js';
import { type CoverageClassName, coverageClassNames } from '../result/coverage.js';
import { outputElsewhere } from '../result/output-failure.js';
import type { DepthUnit, RunFrame } from '../result/run-record.js';
import type { Direction } from '../stack/focus-direction.js';
import type { FrameFile, Stack } from '../stack/frame.js';
import { refuseTooManyFrames } from '../stack/frame-limit.js';
import { reduceStack } from '../stack/reduce-stack.js';
import { selectFrames } from '../stack/select-frames.js';
import { checkStack, computeMerge } from './merge.js';
import type { MergeHooks } from './merge-api.js';
import { RunLog } from './run-log.js';
import { makeScratch } from './scratch-folder.js';
import { type FramePixels, spoolFrame } from './spool-frame.js';

/** Options of a merge without files: those of `merge` but for the ones that concern files. */
export interface PixelMergeOptions
  extends Partial<Omit<MergeOptions, Exclude<(typeof fileOptions)[number], 'out'>>> {
  /** Folder below which the frames are kept while they are merged. Default: the system's folder for such files. */
  scratch?: string;
}

/** What became of one frame. */
export type MergedFrame = Pick<
  RunFrame,
  'number' | 'used' | 'leftOutReason' | 'gainRatio' | 'transform' | 'depth' | 'sharePercent'
>;

/** A merge in memory. All arrays are row by row from the upper left, at the anchor's framing. */
export interface MergedPixels {
  width: number;
  height: number;
  channels: 1 | 3;
  bits: 8 | 16;
  /** (rows, cols, channels) interleaved, 0 to 255 or, at 16 bits, to 65535. */
  composite: Uint8Array | Uint16Array;
  /** (rows, cols) in `depthUnit` from the anchor's plane of focus, positive away from the camera; NaN: no frame reaches. */
  depth: Float32Array;
  depthUnit: DepthUnit;
  /** (rows, cols) number of the frame that supplies most of the detail, from 1 in the order given; 0: none. */
  sources: Uint16Array;
  /** (rows, cols) confidence times 255. */
  confidence: Uint8Array;
  /** (rows, cols) index into `coverageClasses`. */
  coverage: Uint8Array;
  coverageClasses: readonly CoverageClassName[];
  anchorNumber: number;
  direction: Direction;
  /** The frames that were merged or left out, in the order given. */
  frames: MergedFrame[];
  /** Sentences for people, which name options by their fields. */
  warnings: string[];
  notes: string[];
}

/**
 * Merges frames that a program holds as pixels; no photograph need be a file, and no result is written.
 *
 * A merge reads its frames several times, and a program may be able to make each only once. So every frame is taken
 * from `frames` once, in order, and written without compression to a folder of its own below `scratch`, which is
 * removed before the promise settles. That takes width * height * channels bytes of disk a frame, twice that at 16
 * bits; memory holds one given frame at a time beside what `merge` needs. Only a process that is killed leaves the
 * folder (`.lamella-frames...`) behind, and the next merge with the same `scratch` removes it. The array of a frame may
 * be used again once the next frame is asked for.
 *
 * @param frames In the order in which they were shot: two at least, all of one width, height, number of channels and
 *   type of array. They count from 1, in options and results alike.
 * @param given See MergeOptions; `positionsMm` has one position a frame.
 * @param hooks Progress, and an AbortSignal: when it fires the merge rejects with InterruptedError.
 * @returns Arrays that nothing else refers to. Equal, value by value, to the files that `merge` writes for the same
 *   pixels in files.
 * @throws UsageError when an option is wrong or a frame is not like the first; InputError when the frames cannot be
 *   merged, as when they have nothing in common; OutputError when `scratch` cannot be written; InterruptedError; and
 *   whatever `frames` itself throws.
 */
export async function mergePixels(
  frames: AsyncIterable<FramePixels> | Iterable<FramePixels>,
  given: PixelMergeOptions = {},
  hooks: MergeHooks = {},
): Promise<MergedPixels> {
  requireOptions(given);
  const { scratch = tmpdir(), ...others } = given;
  const options = resolvePixelOptions(others);
  if (!isIterable(frames))
    throw optionError('frames', 'frames one after the other, as an array or an iterable', frames);
  if (scratch === '') throw optionError('scratch', 'the path of a folder', scratch);
  const log = new RunLog(hooks);
  log.enter('list');
  const folder = await makeScratch(scratch);
  try {
    const stack = reduceStack(await spoolStack(frames, folder, options, hooks.signal), options.preview);
    checkStack(stack, options);
    log.frameMegapixels = (stack.size.width * stack.size.height) / 1e6;
    const {
      frames: merged,
      anchor,
      way,
      scale,
      maps,
      picture,
      ended,
    } = await computeMerge(stack, options, log, hooks.signal);
    await ended;
    log.throwIfStopped();
    const { width, height, channels, pixels } = picture;
    return {
      width,
      height,
      channels,
      bits: pixels instanceof Uint8Array ? 8 : 16,
      // Not a view: what it lies on is the memory of the whole merge.
      composite: pixels.slice(),
      depth: maps.depth(0, height),
      depthUnit: scale.unit,
      sources: maps.sources(0, height).slice(),
      confidence: maps.confidence(0, height).slice(),
      coverage: maps.coverage(0, height).slice(),
      coverageClasses: coverageClassNames,
      anchorNumber: anchor.file.number,
      direction: way.direction,
      frames: merged.map(mergedFrame),
      warnings: log.warnings,
      notes: log.notes,
    };
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}

/** Options that say how files are read or written have no meaning for pixels. */
const fileOptions = [
  ...(['format', 'overwrite', 'strict', 'maxMegapixels', 'out'] as const),
  ...(['prefer', 'order', 'whiteBalance', 'exposureStops', 'colourSpace'] as const),
];

function resolvePixelOptions(given: Omit<PixelMergeOptions, 'scratch'>): MergeOptions {
  for (const name of fileOptions) {
    if (!(name in given)) continue;
    throw new UsageError(`Expected no ${named(name)}: it concerns files, and pixels are merged without.`);
  }
  return resolveOptions(given);
}

function isIterable(value: unknown): boolean {
  return (
    typeof value === 'object' && value !== null && (Symbol.asyncIterator in value || Symbol.iterator in value)
  );
}

/** Takes every frame once and keeps those that are to be merged. */
async function spoolStack(
  frames: AsyncIterable<FramePixels> | Iterable<FramePixels>,
  folder: string,
  options: MergeOptions,
  signal: AbortSignal | undefined,
): Promise<Stack> {
  const files: FrameFile[] = [];
  let first: FramePixels | undefined;
  for await (const frame of untilStopped(frames, signal)) {
    const number = files.length + 1;
    // Without its pixels: their array may be used for the next frame.
    first ??= { ...frame, pixels: frame.pixels?.slice(0, 0) };
    const path = join(folder, `${number}.tif`);
    try {
      files.push(await spoolFrame(frame, first, number, path, isWanted(number, options), signal));
    } catch (error) {
      throw outputElsewhere(error, { aside: path, path: folder, option: 'scratch' });
    }
  }
  if (files.length < 2) {
    throw new InputError(`Expected at least 2 frames of one subject but received ${files.length}.`);
  }
  const selected = selectFrames(files, options);
  const name = 'the given pixels';
  refuseTooManyFrames(
    name,
    selected.map(({ number }) => number),
  );
  const { size, bits, channels } = selected[0];
  return {
    folder: name,
    frames: selected,
    photographs: files.length,
    size,
    bits,
    channels,
    orderedBy: 'name',
    notes: [],
    warnings: [],
  };
}

/** Every frame gets a number and is checked; only those that are to be merged are kept. */
function isWanted(number: number, { frames, skip }: MergeOptions): boolean {
  return !skip.includes(number) && (!frames || (number >= frames[0] && number <= frames[1]));
}

/** The frames until a signal fires, which ends also the waiting for one that does not come. */
async function* untilStopped<Frame>(
  frames: AsyncIterable<Frame> | Iterable<Frame>,
  signal: AbortSignal | undefined,
): AsyncGenerator<Frame> {
  const iterator =
    Symbol.asyncIterator in frames ? frames[Symbol.asyncIterator]() : frames[Symbol.iterator]();
  let stop: () => void = () => {};
  const stopped = new Promise<never>((_, reject) => {
    stop = () => reject(new InterruptedError());
  });
  // Told where it is awaited.
  stopped.catch(() => {});
  if (signal?.aborted) stop();
  signal?.addEventListener('abort', stop);
  let isEnded = false;
  try {
    for (;;) {
      const next = await Promise.race([stopped, iterator.next()]);
      if (next.done) {
        isEnded = true;
        return;
      }
      yield next.value;
    }
  } finally {
    signal?.removeEventListener('abort', stop);
    // Not awaited: a source that hangs would hold the merge.
    if (!isEnded) void Promise.resolve(iterator.return?.()).catch(() => {});
  }
}

function mergedFrame(frame: RunFrame): MergedFrame {
  const { number, used, leftOutReason, gainRatio, transform, depth, sharePercent } = frame;
  return {
    number,
    used,
    ...(leftOutReason !== undefined && { leftOutReason }),
    gainRatio,
    transform,
    depth,
    sharePercent,
  };
}
