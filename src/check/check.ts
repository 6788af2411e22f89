import { availableParallelism } from 'node:os';
import { InputError } from '../errors.js';
import { requirePath } from '../option-error.js';
import { type FirstReadingResult, readFirst, readingThreads, readQuick } from '../rail/first-reading.js';
import { meanStepMm, refusePositionCount } from '../rail/given-travel.js';
import { reducedSize } from '../rail/read-frame.js';
import { StackReading, shrinkFor } from '../rail/stack-reading.js';
import type { MotionSolution } from '../register/motion-solution.js';
import { spoilsMerge } from '../result/finding.js';
import { type DirectionEvidence, findDirection } from '../stack/focus-direction.js';
import type { Stack } from '../stack/frame.js';
import { developStack } from '../stack/raw/develop-stack.js';
import { plainDevelopment } from '../stack/raw/development.js';
import { readStack } from '../stack/read-stack.js';
import { type CheckOptions, resolveCheckOptions } from './check-options.js';
import type { CheckedFrame, CheckReport } from './check-report.js';
import { judgeStack } from './judge-stack.js';
import { NearEnd } from './near-end.js';
import { type StripPicture, stripPicture } from './strip-pictures.js';

/** How a caller follows a check and stops it. */
export interface CheckHooks {
  /** Called after each frame that was read. */
  onProgress?: (done: number, frames: number) => void;
  signal?: AbortSignal | undefined;
  /** Called with the small picture of each frame, in capture order. */
  onStrip?: (strip: StripPicture, number: number) => void;
}

const minSidePx = 64;

/**
 * Checks the photographs of a folder before they are merged. Frames are read at reduced size, a few once more in full.
 *
 * It does not detect a stack that is short by less than a step or so, nor dust where the camera did not move at all.
 *
 * @param folder Folder of the frames, which is only read.
 * @param given Lengths in mm; with `stepMm` or `positionsMm` advice comes in mm.
 * @throws UsageError when an option is wrong; InputError when the folder cannot be read or holds no stack;
 *   InterruptedError. What spoils a merge is no error but a finding.
 */
export async function check(
  folder: string,
  given: Partial<CheckOptions> = {},
  hooks: CheckHooks = {},
): Promise<CheckReport> {
  const started = performance.now();
  const options = resolveCheckOptions(given);
  requirePath(folder, 'folder');
  const listed = await readStack(folder, {
    skip: options.skip,
    ...(options.frames && { frames: options.frames }),
    ...(options.maxMegapixels && { maxPixels: options.maxMegapixels * 1e6 }),
    prefer: options.prefer,
    order: options.order,
    signal: hooks.signal,
  });
  const { size } = listed;
  if (Math.min(size.width, size.height) < minSidePx) {
    throw new InputError(
      `Expected frames of at least ${minSidePx} x ${minSidePx} pixels but those in "${folder}" are ${size.width} x ${size.height}.`,
    );
  }
  const numbers = listed.frames.map(({ number }) => number);
  refusePositionCount({ ...listed, numbers }, options);
  // In sRGB and by the middle frame: as a merge without options of its own.
  const { stack } = await developStack(listed, numbers[(numbers.length - 1) >> 1], plainDevelopment);
  const { evidence, unreadable, nearEnd, shrink } = await readFrames(stack, hooks);
  const { files, motion, measurements, stackTravel, fineWidth } = evidence;
  const { travel, shakes } = stackTravel;
  const directionEvidence = await lookForNearEnd(nearEnd, shrink, motion);
  const way = findDirection(options.direction, files, directionEvidence, {
    widthPx: stack.size.width,
    stepMm: meanStepMm(
      files.map(({ number }) => number),
      options,
    ),
  });
  const { findings, focus, light, coverage } = judgeStack(stack, evidence, unreadable, way, options);
  const finite = (value: number | undefined) =>
    value !== undefined && Number.isFinite(value) ? value : null;
  return {
    folder,
    fit: !spoilsMerge(findings),
    findings,
    frames: files.map((file, k): CheckedFrame => {
      const { usable, similarity } = motion.frames[k];
      return {
        ...focus[k],
        name: file.name,
        takenMs: file.exif.takenMs,
        usable,
        scale: similarity.scale,
        shiftXPx: similarity.shiftXPx,
        shiftYPx: similarity.shiftYPx,
        rollDeg: (similarity.rollRad * 180) / Math.PI,
        travelSteps: k === 0 ? null : finite(travel.steps[k - 1]),
        uneven: finite(shakes[k].anisotropy),
        dip: finite(shakes[k].dip),
        light: light[k],
        burntPercent: measurements[k].burntPercent,
        blockedPercent: measurements[k].blockedPercent,
      };
    }),
    size: stack.size,
    ...way,
    coverage,
    focusWidthSteps: finite(fineWidth),
    wallMs: Math.round(performance.now() - started),
  };
}

interface CheckReading extends FirstReadingResult {
  nearEnd: NearEnd;
  /** Full-size pixels per pixel of the pictures that were read. */
  shrink: number;
}

/** Evidence of the pictures and their growth for which end is near. */
async function lookForNearEnd(
  nearEnd: NearEnd,
  shrink: number,
  { frames, growth }: MotionSolution,
): Promise<DirectionEvidence> {
  const toAnchor = frames.map(({ usable, matrix }) => (usable ? matrix : undefined));
  return { pictures: await nearEnd.look(toAnchor, shrink), growth };
}

/** Reads every frame once, reduced, and a few in full. */
async function readFrames(stack: Stack, hooks: CheckHooks): Promise<CheckReading> {
  const { frames, size } = stack;
  const shrink = shrinkFor(size);
  const nearEnd = new NearEnd(frames.length, reducedSize(size, shrink));
  const threads = readingThreads(stack, availableParallelism());
  const reading = new StackReading(size, frames.length, { shrink, threads, brightness: nearEnd });
  // While the first frames are decoded.
  reading.start(frames[0]);
  try {
    const found = await readFirst(stack, reading, {
      read: async (frame) => {
        const read = await readQuick(frame, reading);
        return { ...read, strip: hooks.onStrip && (await stripPicture(frame, read.reduced)) };
      },
      onFrame: ({ number }, { strip }) => {
        if (strip) hooks.onStrip?.(strip, number);
      },
      onProgress: hooks.onProgress,
      signal: hooks.signal,
    });
    return { ...found, nearEnd, shrink };
  } finally {
    await reading.close();
  }
}
