import { basename, dirname, join, relative, resolve, sep } from 'node:path';
import { judgeFrames, judgeRim } from '../check/judge-merge.js';
import { judgeStack } from '../check/judge-stack.js';
import { InputError } from '../errors.js';
import { GpuError } from '../gpu/gpu-error.js';
import type { Size } from '../image/image.js';
import { identityMatrix } from '../image/transform.js';
import { viewOf } from '../image/view.js';
import { optionError, requirePath } from '../option-error.js';
import { optionName } from '../option-names.js';
import type { MergeOptions } from '../options/merge-options.js';
import { resolveOptions } from '../options/resolve-merge-options.js';
import { frameSteps } from '../rail/frame-steps.js';
import { meanStepMm, refusePositionCount } from '../rail/given-travel.js';
import { coverageClassNames } from '../result/coverage.js';
import { type Finding, spoilsMerge } from '../result/finding.js';
import type { MapPictures } from '../result/report/report-pictures.js';
import { writeReportPage } from '../result/report/write-report.js';
import { openResult } from '../result/result-folder.js';
import { resultFolderName } from '../result/result-folder-name.js';
import type { MapRows } from '../result/rows.js';
import {
  type CropRectangle,
  type MapsRecord,
  type RunFrame,
  type RunRecord,
  runSchemaName,
  runSchemaVersion,
} from '../result/run-record.js';
import { type StoredMaps, type StoredSeen, storedRows, storedValues } from '../result/stored-maps.js';
import { verdictAfter } from '../result/verdict.js';
import type { Picture } from '../result/write-composite.js';
import { writeMaps } from '../result/write-maps.js';
import { writeRunRecord } from '../result/write-run-record.js';
import { writeTogether } from '../result/write-together.js';
import { pixelsOf, WritingThreads } from '../result/writing-threads.js';
import { isReducedWhileDecoded } from '../stack/decode.js';
import { decodeThreads } from '../stack/decode-threads.js';
import { readIcc, readRawExif } from '../stack/exif.js';
import { type FocusDirection, findDirection } from '../stack/focus-direction.js';
import type { Stack } from '../stack/frame.js';
import { refuseChangedFrames } from '../stack/frame-identity.js';
import { KeptFrames } from '../stack/kept-frames.js';
import { readStack } from '../stack/read-stack.js';
import { reduceStack } from '../stack/reduce-stack.js';
import { someNames } from '../stack/words.js';
import { depthIndexOf } from '../surface/depth-index.js';
import { nameSystemFailure } from '../system-failure.js';
import { programVersion } from '../version.js';
import { type DepthScale, depthScale } from './depth-scale.js';
import { endDevelopment, withDevelopedFrames } from './develop-frames.js';
import { directionNotes } from './direction-notes.js';
import { FrameThread, isWorthFrameThread } from './frame-thread.js';
import { frameComposite, leastSidePx } from './framing.js';
import { keptFramesBytes, type MergeLoad, refuseOversized, threadsWithin } from './memory-need.js';
import type { MergeOutcome, UnattendedHooks } from './merge-api.js';
import { isWorthThread, type MergeDevice, openMergeDevice } from './merge-device.js';
import { type DecideDirection, type FoundMaps, mergeFrames } from './merge-frames.js';
import { noteFraming } from './note-framing.js';
import { type Registration, registerStack } from './register-stack.js';
import { RunLog } from './run-log.js';
import type { UsedFrame } from './used-frame.js';

/**
 * What a new result takes over from the one that it replaces. May be called again when the old result has changed.
 *
 * @param old Folder of the old result, or of none.
 * @param dir Folder of the new result, which is still being written.
 * @returns A sentence for the user; undefined when there is nothing to tell.
 */
export type TakeOver = (old: string, dir: string, record: RunRecord) => Promise<string | undefined>;

/**
 * Merges the photographs of a folder into a result folder; `merge` of the library says what is given, returned and
 * thrown.
 */
export async function mergeFolder(
  folder: string,
  given: Partial<MergeOptions> & { out?: string },
  hooks: UnattendedHooks,
  takeOver: TakeOver,
): Promise<MergeOutcome> {
  const log = new RunLog(hooks);
  const options = resolveOptions(given);
  requirePath(folder, 'folder');
  if (given.out !== undefined) requirePath(given.out, 'out');
  const input = resolve(folder);
  const out = resolve(given.out ?? join(dirname(input), resultFolderName(basename(input), options.preview)));

  log.enter('list');
  const listed = await readStack(input, {
    ...(options.frames && { frames: options.frames }),
    skip: options.skip,
    strict: options.strict,
    ...(options.maxMegapixels && { maxPixels: options.maxMegapixels * 1e6 }),
    prefer: options.prefer,
    order: options.order,
    exclude: [out],
    ...(hooks.signal && { signal: hooks.signal }),
  });
  const stack = reduceStack(listed, options.preview);
  const { size, reduced: preview } = stack;
  const marked = preview && { preview };
  const isPreview = preview !== undefined;
  checkStack(stack, options);
  log.frameMegapixels = (size.width * size.height) / 1e6;
  log.emit({ event: 'start', folder: input, out, frames: stack.frames.length, size, ...marked });
  for (const { message } of stack.notes) log.note(message);
  for (const { message } of stack.warnings) log.warn(message);

  const bits = options.bits ?? stack.bits;
  const result = await openResult(out, {
    overwrite: options.overwrite,
    inputFolder: input,
    expectedBytes: size.width * size.height * ((stack.channels * bits) / 8 + 8),
  });
  const signal = hooks.signal;
  const writing = new WritingThreads(signal);
  let ended: Promise<void> | undefined;
  let writingMaps: Promise<readonly [MapsRecord, MapPictures]> | undefined;
  let readingAnchor: Promise<readonly [Buffer | undefined, Buffer | undefined]> | undefined;
  const software = `Lamella ${programVersion()}`;
  const startMaps = ({ stored, maps, seen, scale: { unit }, frames, way, anchor }: FramedMaps) => {
    const before = writingMaps;
    const pixels = pixelsOf(stored);
    const record = { frames, direction: way.direction };
    const write = () =>
      writeTogether([
        writeMaps(result.dir, maps, {
          ...{ unit, software, isPreview, signal, seen },
          writeFile: (file) => writing.run('map', { maps: stored, file }, pixels),
        }),
        writing.mapPictures(stored, record, seen.range),
      ]);
    readingAnchor = Promise.all([readIcc(anchor.file), readRawExif(anchor.file)]);
    readingAnchor.catch(() => {});
    // A merge that starts over writes its maps in place of those before.
    writingMaps = before ? before.then(write, write) : write();
    // Told where it is awaited.
    writingMaps.catch(() => {});
  };
  try {
    const { merged, development } = await withDevelopedFrames(
      stack,
      options,
      dirname(result.out),
      log,
      async (developed) => ({
        ...developed,
        merged: await computeMerge(developed.stack, options, log, signal, startMaps, writing),
      }),
    );
    const { registration, frames, anchor, crop, way, picture, judged, device } = merged;
    ended = merged.ended;

    log.enter('write');
    const { width, height } = crop;
    const [icc, exif] = await readingAnchor!;
    let written = 0;
    const noteWritten = () => log.progress(++written, 3);
    const [{ notes, ...composite }, composed, [mapsRecord, drawn]] = await writeTogether([
      writing
        .run(
          'composite',
          { dir: result.dir, picture, options: { format: options.format, isPreview, icc, exif, software } },
          [picture.pixels],
        )
        .finally(noteWritten),
      writing.compositePicture(picture, icc),
      writingMaps!.finally(noteWritten),
    ]);
    for (const note of notes) log.note(note);
    const ending = writing.close();
    log.closeStage();
    const record: RunRecord = {
      schema: runSchemaName,
      version: runSchemaVersion,
      programVersion: programVersion(),
      startedAt: log.startedAt.toISOString(),
      wallMs: Math.round(log.wallMs),
      device,
      stagesMs: log.stagesMs,
      options,
      folder: input,
      size: { width, height },
      frameSize: size,
      ...marked,
      bits,
      channels: stack.channels,
      ...(development && { development }),
      orderedBy: stack.orderedBy,
      ...way,
      anchorNumber: anchor.file.number,
      frames,
      composite,
      maps: mapsRecord,
      crop,
      ...fieldScale(options, stack),
      ...(options.stepMm !== undefined && { stepMm: options.stepMm }),
      ...(options.positionsMm && { positionsMm: options.positionsMm }),
      ...(registration.focusWidthSteps !== undefined && { focusWidthSteps: registration.focusWidthSteps }),
      warnings: log.warnings,
      notes: log.notes,
    };
    const findings = judgeRim(judged, mapsRecord.coverage.classes[outOfReach].percent);
    for (const finding of findings) if (!judged.includes(finding)) log.find(finding);
    record.findings = findings;
    const takenOver = await takeOver(result.out, result.dir, record);
    if (takenOver !== undefined) log.warn(takenOver);
    const verdicts = await writeReportPage(result.dir, record, { composite: composed, ...drawn }, signal);
    await writeRunRecord(result.dir, record, signal);
    log.throwIfStopped();
    // The record names these very files; of the anchor, profile and EXIF were read after its pixels.
    refuseChangedFrames(stack.frames);
    // Once more: somebody may have mended the earlier result meanwhile.
    await result.commit(async (old) => void (await takeOver(old, result.dir, record)));
    await Promise.all([ending, ended]);
    const files = [
      composite.file,
      mapsRecord.depth.file,
      mapsRecord.depthPng.file,
      mapsRecord.sources.file,
      mapsRecord.confidence.file,
      mapsRecord.coverage.file,
      'run.json',
      'report.html',
    ];
    const verdict = verdictAfter(findings);
    log.emit({
      event: 'done',
      out,
      files,
      fit: !spoilsMerge(findings),
      verdict,
      wallMs: Math.round(log.wallMs),
      ...marked,
    });
    return {
      out,
      files,
      findings,
      verdicts,
      warnings: log.warnings,
      notes: log.notes,
      wallMs: Math.round(log.wallMs),
    };
  } catch (error) {
    await Promise.all([writing.close(), ended]);
    await writingMaps?.catch(() => {});
    await result.discard();
    throw nameSystemFailure(error);
  }
}

/** The maps of a merge in the terms of its photographs, and what they say of them. */
export interface FramedMaps {
  /** Their values as they lie in memory, and their rows. */
  stored: StoredMaps;
  maps: MapRows;
  seen: StoredSeen;
  scale: DepthScale;
  way: FocusDirection;
  /** All frames of the stack, those that are left out too. */
  frames: RunFrame[];
  anchor: UsedFrame;
}

/** What the frames of a stack make, before anything of it is written. */
export interface MergedStack extends FramedMaps {
  registration: Registration;
  crop: CropRectangle;
  picture: Picture;
  /** The graphics processor that merged, with its driver, or 'processor'. */
  device: string;
  /** What is to be said of the stack; the rim of the merged picture comes on top. */
  judged: Finding[];
  /** Done when the device has ended, before which the process should not. */
  ended: Promise<void>;
}

/**
 * Registers and merges the frames of a stack that `checkStack` has let pass: three readings of its files.
 *
 * @param onMaps Called with the maps as soon as they are final, while the picture is blended.
 * @param writing Threads of the caller, to whom the result is to be written.
 */
export async function computeMerge(
  stack: Stack,
  given: MergeOptions,
  log: RunLog,
  signal: AbortSignal | undefined,
  onMaps?: (framed: FramedMaps) => void,
  writing?: WritingThreads,
): Promise<MergedStack> {
  const options = fitThreads(stack, given, log);
  const room = keptFramesBytes(loadOf(stack), options.threads, options.memoryMb);
  const kept = new KeptFrames(room, Math.min(decodeThreads, options.threads));
  const opened: Opened = {};
  try {
    const merged = await computeKeeping(kept, room, opened, stack, options, log, signal, onMaps, writing);
    return { ...merged, ended: Promise.resolve(opened.device?.close()) };
  } catch (error) {
    await opened.device?.close();
    throw error;
  } finally {
    kept.close();
    await opened.frames?.close();
  }
}

/** What a merge has opened. */
interface Opened {
  /** The graphics processor that merges. */
  device?: MergeDevice | undefined;
  /** The thread of the frames, where the processor merges and they have one. */
  frames?: FrameThread | undefined;
}

/**
 * @param room Bytes of frames that may be kept.
 * @param opened Gets what the caller closes.
 */
async function computeKeeping(
  kept: KeptFrames,
  room: number,
  opened: Opened,
  stack: Stack,
  options: MergeOptions,
  log: RunLog,
  signal: AbortSignal | undefined,
  onMaps: ((framed: FramedMaps) => void) | undefined,
  writing = new WritingThreads(signal),
): Promise<Omit<MergedStack, 'ended'>> {
  const { size } = stack;
  const bits = options.bits ?? stack.bits;
  log.enter('register');
  const stopper = new AbortController();
  const stop = () => stopper.abort();
  signal?.addEventListener('abort', stop);
  if (signal?.aborted) stop();
  // Threads that write start once registration leaves cores to them, which it does when frames are decoded in full.
  const start = (pixels: number) => {
    const maps = [2 * pixels, pixels, pixels];
    const others = opened.device ? [2 * pixels, (3 * pixels * bits) / 8] : [];
    writing.start(pixels, options.threads, [...maps, ...others]);
  };
  kept.onAhead = () => start(size.width * size.height);
  kept.onDecoded = (frame, decoded) => opened.device?.sendAhead?.(frame, decoded);
  kept.awaitSource();
  const registering = registerStack(stack, options, kept, log, stopper.signal, (plan, files) =>
    (opened.device ?? opened.frames)?.measureFull?.(plan, files),
  );
  // Told where it is awaited.
  registering.catch(() => {});
  try {
    // The first frames are being decoded while the device is opened; who asks for one that is not there is soon told.
    const isApart = isWorthThread(stack.frames, options.threads);
    opened.device = await openMergeDevice(options.device, isApart, log);
    opened.device?.prepare({ size, bits: stack.bits, room });
    if (!opened.device && isWorthFrameThread(stack, options.threads)) {
      opened.frames = new FrameThread({ size, room, atOnce: Math.min(decodeThreads, options.threads) });
    }
    kept.useSource(opened.device?.source ?? opened.frames);
  } catch (error) {
    stop();
    await registering.catch(() => {});
    throw error;
  }
  const registration = await registering;
  signal?.removeEventListener('abort', stop);
  await endDevelopment(stack, log);
  for (const warning of registration.motion.warnings) log.warn(warning);
  checkRepeats(stack, registration, log);
  const used = usableFrames(stack, registration, options, log);
  const anchor = used.find(({ file }) => file.number === registration.motion.anchorNumber)!;
  const framing = frameComposite(
    options.crop,
    size,
    used.map(({ toAnchor }) => toAnchor),
  );
  noteFraming(options.crop, framing, used, log);
  const { crop } = framing;
  start(crop.width * crop.height);

  let judged: ReturnType<typeof judgeFrames> = [];
  let decided: FocusDirection | undefined;
  const decideDirection: DecideDirection = (look) => {
    // Once: a merge that starts over on the processor goes by what was found and told.
    if (decided) return decided;
    const { growth } = registration.motion;
    const files = used.map(({ file }) => file);
    const numbers = files.map(({ number }) => number);
    const rail = { widthPx: size.width, stepMm: meanStepMm(numbers, options) };
    const way = findDirection(options.direction, files, { pictures: look(), growth }, rail);
    for (const note of directionNotes(way, rail)) log.note(note);
    // What lies before and behind the stack can be named only now.
    judged = judgeFrames(
      judgeStack(stack, registration.evidence, registration.unreadable, way, options).findings,
      stack,
      registration.motion.frames,
      used.map(({ file }) => file.number),
    );
    for (const finding of judged) log.find(finding);
    decided = way;
    return way;
  };
  const steps = frameSteps(
    used.map(({ file }) => file.number),
    registration.evidence,
    options.positionsMm ?? options.relativePositions,
  );
  const takeMaps = async (found: FoundMaps): Promise<FramedMaps> => {
    const { way } = found;
    const scale = depthScale(used, anchor.ordinal, way.direction, options);
    const stored = storeMaps(found, scale, crop);
    const seen = await writing.lookAt(stored, Uint16Array.from([0, ...used.map(({ file }) => file.number)]));
    log.throwIfStopped();
    const frames = frameRecords(stack, registration, used, steps, scale, seen.pixels);
    const framed = { stored, maps: storedRows(stored), seen, scale, way, frames, anchor };
    onMaps?.(framed);
    return framed;
  };
  const mergeOn = (device: MergeDevice | undefined) =>
    mergeFrames(
      used,
      size,
      crop,
      bits,
      options,
      decideDirection,
      takeMaps,
      steps,
      registration.focusWidthSteps,
      registration.evidence.dust,
      kept,
      log,
      signal,
      device,
      opened.frames,
      (bytes) => writing.take(bytes),
    );
  let device = opened.device?.fullName;
  const { pixels, found } = await mergeOn(opened.device).catch((error: unknown) => {
    if (!(error instanceof GpuError)) throw error;
    log.warn(`The processor merges from the start, for ${error.message}.`);
    device = undefined;
    kept.useSource(undefined);
    return mergeOn(undefined);
  });

  const { width, height } = crop;
  const picture = {
    pixels: stack.channels === 3 ? pixels : await firstChannel(pixels, crop),
    width,
    height,
    channels: stack.channels,
  };
  return { registration, crop, picture, judged, device: device ?? 'processor', ...found };
}

function loadOf({ size, bits, frames, reduced }: Stack): MergeLoad {
  const isWhole = frames.some((frame) => !isReducedWhileDecoded(frame));
  return {
    size,
    bits,
    frames: frames.length,
    isStored: !reduced && frames.every(({ raw }) => raw && raw.kept?.hasRoom !== false),
    ...(reduced && isWhole && { decodedSize: reduced.fileSize }),
  };
}

/** Options with as many threads as the memory allows; the result is the same for any number. */
function fitThreads(stack: Stack, options: MergeOptions, log: RunLog): MergeOptions {
  const threads = threadsWithin(loadOf(stack), options.threads, options.memoryMb) ?? 1;
  if (threads === options.threads) return options;
  log.note(
    `${threads} of ${options.threads} threads compute: more would need more memory than ${options.memoryMb === undefined ? 'this machine has' : 'is allowed'}.`,
  );
  return { ...options, threads };
}

/** Refuses what cannot be merged, before the long work. */
export function checkStack(stack: Stack, options: MergeOptions): void {
  const { width, height } = stack.size;
  if (width < leastSidePx || height < leastSidePx) {
    throw new InputError(
      `Expected frames of at least ${leastSidePx} x ${leastSidePx} pixels but those in "${stack.folder}" are ${width} x ${height}${stack.reduced ? ` as reduced for the preview: choose a smaller ${optionName('preview')}, or none` : ''}.`,
    );
  }
  refuseOversized(loadOf(stack), options.memoryMb);
  const numbers = stack.frames.map(({ number }) => number);
  if (typeof options.anchor === 'number' && !numbers.includes(options.anchor)) {
    throw optionError(
      'anchor',
      `a frame that is in use, of ${numbers[0]} to ${numbers.at(-1)},`,
      options.anchor,
    );
  }
  refusePositionCount({ ...stack, numbers }, options);
}

/** Refuses a stack whose frames are all one picture, warns of single frames that repeat the one before. */
function checkRepeats(stack: Stack, { motion }: Registration, log: RunLog): void {
  // Frames without any detail are alike because they are empty, which the focus stage tells better.
  const repeats = motion.frames.filter(({ sameAsPrevious, detail }) => sameAsPrevious && detail > 0);
  if (repeats.length === 0) return;
  if (repeats.length === motion.frames.length - 1) {
    throw new InputError(
      `The frames in "${stack.folder}" all show the same picture: a merge needs frames of one subject, focused differently. Copy the photographs again from the card.`,
    );
  }
  const numbers = new Set(repeats.map(({ number }) => number));
  const names = stack.frames.flatMap((file) =>
    numbers.has(file.number) ? [`${file.name} (frame ${file.number})`] : [],
  );
  log.warn(
    `The same picture as in the frame before it is in: ${someNames(names)}. Leave out with ${optionName('skip')} what was copied twice.`,
  );
}

/** More shaken frames than this part of the stack are kept: without them there would be gaps. */
const shakenShare = 0.2;

/** Numbers of the frames that are blurred as a whole and would be smeared in where their plane of focus is the nearest. */
function shakenFrames({
  motion: { frames },
  evidence: {
    stackTravel: { blurred },
  },
}: Registration): Set<number> {
  return new Set([...blurred].flatMap((k) => (frames[k].usable ? [frames[k].number] : [])));
}

function usableFrames(
  stack: Stack,
  registration: Registration,
  options: MergeOptions,
  log: RunLog,
): UsedFrame[] {
  const motions = new Map(registration.motion.frames.map((motion) => [motion.number, motion]));
  const shaken = shakenFrames(registration);
  const tooMany = shaken.size > shakenShare * stack.frames.length;
  const used: UsedFrame[] = [];
  const lost: string[] = [];
  for (const file of stack.frames) {
    const motion = motions.get(file.number);
    if (!motion) continue;
    if (!motion.usable) {
      const name = `${file.name} (frame ${file.number})`;
      lost.push(name);
      log.warn(`${name} is left out: it cannot be aligned, for ${motion.reason}.`);
      continue;
    }
    const isAnchor = file.number === registration.motion.anchorNumber;
    if (shaken.has(file.number)) {
      const name = `${file.name} (frame ${file.number})`;
      if (!isAnchor && !tooMany) {
        log.warn(`${name} is left out: it is shaken.`);
        continue;
      }
      log.warn(
        isAnchor
          ? `${name} is shaken, but as the anchor it stays in: choose another with ${optionName('anchor')}.`
          : `${name} is shaken, but too many are for all to be left out: shoot the stack again.`,
      );
    }
    const [r, g = r, b = r] = motion.gainRatio;
    used.push({
      file,
      ordinal: used.length + 1,
      toAnchor: isAnchor ? identityMatrix : motion.matrix,
      gainRatio: [r, g, b],
    });
  }
  if (lost.length > 0 && options.strict) {
    throw new InputError(
      `These frames cannot be aligned: ${lost.join(', ')}. Leave them out with ${optionName('skip')}.`,
    );
  }
  if (used.length < 2) {
    throw new InputError(
      `The frames in "${stack.folder}" have nothing in common: no two of them can be aligned. Is it one stack, and of one subject?`,
    );
  }
  return used;
}

const outOfReach = coverageClassNames.indexOf('out-of-reach');

/** The maps in the terms of the photographs: depths, and, once they were looked at, numbers of frames. */
function storeMaps({ maps, sources }: FoundMaps, scale: DepthScale, { width, height }: Size): StoredMaps {
  const { depthIndices, fractionBits, confidence, coverage } = maps;
  const depths = Float32Array.from({ length: storedValues }, (_, stored) =>
    scale.depthAt(depthIndexOf(stored, fractionBits)),
  );
  return { width, height, depthIndices, depths, sources, confidence, coverage };
}

function frameRecords(
  stack: Stack,
  registration: Registration,
  used: readonly UsedFrame[],
  steps: readonly number[],
  scale: DepthScale,
  pixels: Uint32Array,
): RunFrame[] {
  const motions = new Map(registration.motion.frames.map((motion) => [motion.number, motion]));
  const ordinals = new Map(used.map(({ file, ordinal }) => [file.number, ordinal]));
  const all = pixels.reduce((sum, count) => sum + count, 0);
  const finite = (value: number | undefined) => (Number.isFinite(value) ? (value as number) : null);
  return stack.frames.map((file) => {
    const motion = motions.get(file.number);
    const ordinal = ordinals.get(file.number);
    const reason =
      (registration.unreadable.has(file.number) ? 'damaged or unreadable' : undefined) ??
      motion?.reason ??
      (motion?.usable ? 'it is shaken' : 'cannot be aligned');
    return {
      number: file.number,
      name: file.name,
      path: relative(stack.folder, file.path).split(sep).join('/'),
      sizeBytes: file.sizeBytes,
      modifiedMs: file.modifiedMs,
      sha256: registration.hashes.get(file.number) ?? '0'.repeat(64),
      exif: file.exif,
      used: ordinal !== undefined,
      ...(ordinal === undefined && { leftOutReason: reason }),
      gainRatio: motion?.gainRatio ?? new Array<number>(stack.channels).fill(1),
      transform: ordinal !== undefined ? used[ordinal - 1].toAnchor : null,
      residualPx: finite(motion?.residualPx),
      scaleResidual: finite(motion?.scaleResidual),
      depth: ordinal !== undefined ? scale.planes[ordinal - 1] : null,
      travelSteps: ordinal !== undefined && ordinal > 1 ? steps[ordinal - 2] : null,
      sharePercent: (100 * pixels[file.number]) / all,
    };
  });
}

/** Side of a pixel at the plane of focus, where the options tell it. */
function fieldScale(options: MergeOptions, { size, reduced }: Stack): { mmPerPixel?: number } {
  const { fieldWidthMm, magnification, pixelPitchUm } = options;
  const { factor, fileSize } = reduced ?? { factor: 1, fileSize: size };
  if (fieldWidthMm !== undefined) return { mmPerPixel: (fieldWidthMm * factor) / fileSize.width };
  if (magnification !== undefined && pixelPitchUm !== undefined) {
    return { mmPerPixel: (factor * pixelPitchUm) / 1000 / magnification };
  }
  return {};
}

async function firstChannel<Samples extends Uint8Array | Uint16Array>(
  pixels: Samples,
  size: Size,
): Promise<Samples> {
  // Needed by grey stacks alone, and slow to load.
  const { default: ops } = await import('ndarray-ops');
  const grey = (
    pixels.buffer instanceof SharedArrayBuffer
      ? new (pixels.constructor as new (memory: SharedArrayBuffer) => Samples)(
          new SharedArrayBuffer(size.width * size.height * pixels.BYTES_PER_ELEMENT),
        )
      : pixels.slice(0, size.width * size.height)
  ) as Samples;
  ops.assign(viewOf(grey, size), viewOf(pixels, size, 3).pick(null, null, 0));
  return grey;
}
