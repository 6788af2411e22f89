import { mkdir } from 'node:fs/promises';
import { availableParallelism } from 'node:os';
import { join, resolve } from 'node:path';
import sharp from 'sharp';
import { InputError, InterruptedError } from '../errors.js';
import { optionName } from '../option-names.js';
import type { SourceRule } from '../options/source-rule.js';
import { outputInPlace } from '../result/output-failure.js';
import { readResult } from '../result/read-result.js';
import { readRunRecord } from '../result/read-run-record.js';
import { drawMeasures } from '../result/report/draw-measures.js';
import { writeReport } from '../result/report/write-report.js';
import { openResult } from '../result/result-folder.js';
import type { RunRecord } from '../result/run-record.js';
import { writeMaps } from '../result/write-maps.js';
import { writeRunRecord } from '../result/write-run-record.js';
import { LocalKernels } from '../trace/local-kernels.js';
import { findStackFrames, requireUnchanged, type StackFrame } from '../trace/stack-frames.js';
import { programVersion } from '../version.js';
import { alignByDecoding, alignedPart, blendMend, mendWindow } from './blend-mend.js';
import { mendFault } from './check-mends.js';
import type { MendedRecord } from './mended-record.js';
import { checkMendList, type Mend, readMends, writeMends } from './mends-file.js';
import { cutMerged, type MergedRegion, mergeWindow, RegionStack } from './merge-region.js';
import { carryMerged, carryOver, contentsMark, unmendedFolder } from './result-files.js';
import { lockResult } from './result-lock.js';
import { supplyMaps, supplyMerged } from './supply-maps.js';
import { describeUnmended, requireUnmended } from './unmended-files.js';
import { WorkingCopy } from './working-copy.js';
import { sharesOf, writeMendedComposite } from './write-mended.js';

/** How mends are applied. */
export interface ApplyOptions {
  /** Where the frames lie now, when they moved. */
  framesFrom?: string | undefined;
  /** 'none' only records the mends and leaves the picture unmended. Default 'kept'. */
  apply?: 'kept' | 'none' | undefined;
  signal?: AbortSignal | undefined;
  /** Told after each mend that was blended. */
  onProgress?: ((done: number, mends: number) => void) | undefined;
  /** Told after each frame that was read for a mend by another rule, which reads them all. */
  onRead?: ((done: number, frames: number) => void) | undefined;
  /** Told when another process is mending this result: its end is waited for. See `lockResult`. */
  onWait?: ((holder: string) => void) | undefined;
}

/** The list that shall be recorded, made from the one that is; throws to change nothing. */
export type EditMends = (recorded: readonly Mend[], record: RunRecord) => Promise<readonly Mend[]>;

/** What became of a result. */
export interface ApplyOutcome {
  /** All that are recorded now. */
  mends: readonly Mend[];
  /** Those in the picture. */
  applied: Mend[];
  /** Plain sentences for the user. */
  notes: string[];
}

/**
 * Changes the list of mends of a result and brings its picture and maps to where all that are kept are applied, in
 * their order, to what was merged: the same mends give the same bytes, however often and in whatever steps. The files
 * of the merge are kept in the subfolder `unmended`; with no mend kept they take their place again.
 *
 * From the reading of the list to its saving the result is locked, so that of two who mend it at once neither
 * loses the other's mends. It is replaced as a whole (see `openResult`): a run that is killed leaves it as it
 * was, or as it shall be.
 *
 * @throws UsageError when a mend of the list has a field out of its range; InputError when a mend cannot be applied or a
 *   frame is missing or has changed; OutputError when the result cannot be written; InterruptedError when stopped.
 *   Then nothing has changed.
 */
export async function editMends(
  folder: string,
  edit: EditMends,
  options: ApplyOptions = {},
): Promise<ApplyOutcome> {
  await readRunRecord(folder);
  const lock = await lockResult(folder, options);
  try {
    const mark = await contentsMark(folder);
    const record = await readRunRecord(folder);
    const mends = await edit(await readMends(folder, record.size), record);
    checkMendList(mends);
    return await applyLocked(folder, record, mends, options, mark);
  } catch (error) {
    throw outputInPlace(error);
  } finally {
    await lock.release();
  }
}

/** As `editMends`, whatever list was recorded before. */
export function applyMends(
  folder: string,
  mends: readonly Mend[],
  options: ApplyOptions = {},
): Promise<ApplyOutcome> {
  return editMends(folder, async () => mends, options);
}

async function applyLocked(
  folder: string,
  current: RunRecord,
  mends: readonly Mend[],
  options: ApplyOptions,
  mark: string,
): Promise<ApplyOutcome> {
  const { signal } = options;
  const merged = await requireUnmended(folder, current);
  const base = await readResult(merged);
  const { record } = base;
  const kept = options.apply === 'none' ? [] : mends.filter((mend) => mend.kept);
  const frames = await findStackFrames(record, options.framesFrom);
  for (const mend of kept) {
    const fault = mendFault(mend, record, frames);
    if (fault !== undefined) throw new InputError(fault);
  }
  // All files are needed whole before anything is written.
  const paths = await checkFrames(kept, frames, record.options.rule, requireUnchanged);
  // The composite, depth.tif, the other maps, and those uncompressed while they are worked on.
  const pixelBytes = (record.channels * record.bits) / 8 + 4 + 6 + 6;
  const opened = await openResult(resolve(folder), {
    overwrite: true,
    isStillSame: async (old) => (await contentsMark(old)) === mark,
    inputFolder: record.folder,
    expectedBytes: kept.length > 0 ? record.size.width * record.size.height * pixelBytes : 0,
  });
  try {
    const { dir } = opened;
    await carryOver(folder, dir, record);
    if (mends.length > 0) await writeMends(dir, record.size, mends);
    const notes: string[] = [];
    if (kept.length === 0) {
      await carryMerged(merged, dir, record);
    } else {
      const unmended = await describeUnmended(merged, record);
      await mkdir(join(dir, unmendedFolder));
      await carryMerged(merged, join(dir, unmendedFolder), record);
      const copy = await WorkingCopy.open(base, dir);
      try {
        const profile = await sharp(join(merged, record.composite.file), {
          limitInputPixels: false,
        }).metadata();
        await blendAll(kept, copy, frames, paths, profile.icc, record, options);
        const software = `Lamella ${programVersion()}`;
        const icc = await writeMendedComposite(merged, dir, record, copy, software, signal);
        const { unit } = record.maps.depth;
        const maps = await writeMaps(dir, copy.maps, {
          hasDepthFile: true,
          unit,
          software,
          isPreview: record.preview !== undefined,
          mapping: record.maps.depthPng,
          signal,
        });
        const mended: MendedRecord = {
          ...record,
          frames: sharesOf(record.frames, copy.maps),
          maps,
          notes: [...record.notes, mendNote(kept)],
          mends: {
            appliedAt: new Date().toISOString(),
            programVersion: programVersion(),
            applied: kept,
            unmended,
          },
        };
        await writeReport(dir, mended, { composite: copy.picture, icc, maps: copy.maps, signal });
        copy.sync();
        await writeRunRecord(dir, mended, signal);
      } finally {
        await copy.close();
      }
      if (record.composite.file.endsWith('.jpg')) notes.push(jpegNote());
    }
    if (signal?.aborted) throw new InterruptedError();
    await drawMeasures(dir, record.size).catch((error: unknown) => {
      if (!(error instanceof InputError)) throw error;
      notes.push(`The report lacks the measures: ${error.message}`);
    });
    await opened.commit();
    return { mends, applied: kept, notes };
  } catch (error) {
    await opened.discard();
    throw error;
  }
}

function jpegNote(): string {
  return `The composite is a JPEG: its pixels outside the mends were handed on unchanged, but the file was compressed once more from the unmended one, which moves them by a few levels. Merge with ${optionName('format')} tif or png to keep them bit for bit.`;
}

function mendNote(kept: readonly Mend[]): string {
  const ofFrames = kept.filter(({ rule }) => rule === undefined).map(({ frame }) => frame);
  const frames = [...new Set(ofFrames)].sort((first, second) => first - second);
  const rules = [...new Set(kept.flatMap(({ rule }) => rule ?? []))].sort();
  const regions = kept.length === 1 ? '1 region was' : `${kept.length} regions were`;
  const from = [
    ...(frames.length > 0 ? [`from frame${frames.length === 1 ? '' : 's'} ${frames.join(', ')}`] : []),
    ...(rules.length > 0 ? [`by the rule${rules.length === 1 ? '' : 's'} ${rules.join(', ')}`] : []),
  ];
  return `${regions} mended by hand ${from.join(' and ')}; the files of the merge itself are in ${unmendedFolder}.`;
}

async function checkFrames(
  mends: readonly Mend[],
  frames: readonly StackFrame[],
  merged: SourceRule,
  check: (frame: StackFrame) => Promise<string>,
): Promise<Map<number, string>> {
  const paths = new Map<number, string>();
  // Another rule merges all frames anew.
  const isMerged = mends.some(({ rule }) => rule !== undefined && rule !== merged);
  const wanted = isMerged
    ? frames
    : frames.filter(({ number }) => mends.some(({ frame }) => frame === number));
  for (const frame of wanted) paths.set(frame.number, await check(frame));
  return paths;
}

/** Applies mends in order to picture and maps. */
async function blendAll(
  mends: readonly Mend[],
  copy: WorkingCopy,
  frames: readonly StackFrame[],
  paths: ReadonlyMap<number, string>,
  icc: Buffer | undefined,
  record: RunRecord,
  { signal, onProgress, onRead }: ApplyOptions,
): Promise<void> {
  const { size, frames: recorded } = record;
  const pathOf = async ({ number }: StackFrame) => paths.get(number)!;
  const align = alignByDecoding(await LocalKernels.start(), pathOf);
  // Read before any mend: a later one may take back what an earlier one did.
  const merged = mends.map((mend) =>
    mend.rule === record.options.rule ? readPart(copy, mend, size) : undefined,
  );
  for (const [i, mend] of mends.entries()) {
    if (signal?.aborted) throw new InterruptedError();
    const window = mendWindow(mend, size)!;
    const part = copy.readComposite(window);
    const maps = copy.readMaps(window);
    const own = merged[i];
    if (mend.rule === undefined) {
      const frame = frames.find(({ number }) => number === mend.frame)!;
      const supplied = blendMend(part, (await align(frame, window))!, mend);
      supplyMaps(maps, supplied, mend.frame, recorded);
    } else if (own) {
      supplyMerged(maps, blendMend(part, alignedPart(own.part), mend), own.maps);
    } else {
      const options = { icc, threads: availableParallelism(), signal, onRead };
      const whole = await mergeOnce(mend.rule, record, frames, pathOf, mergeWindow(mend, size)!, options);
      const anew = cutMerged(whole, window);
      supplyMerged(maps, blendMend(part, anew, mend), anew);
    }
    copy.write(window, part.pixels, maps);
    onProgress?.(i + 1, mends.length);
  }
}

function readPart(copy: WorkingCopy, mend: Mend, size: RunRecord['size']) {
  const window = mendWindow(mend, size)!;
  return { part: copy.readComposite(window), maps: copy.readMaps(window) };
}

async function mergeOnce(
  rule: SourceRule,
  ...[record, frames, pathOf, window, options]: Parameters<typeof RegionStack.open>
): Promise<MergedRegion> {
  const stack = await RegionStack.open(record, frames, pathOf, window, options);
  try {
    return await stack.merge(rule, options);
  } finally {
    await stack.close();
  }
}
