import type { FrameFile, Stack, StackNote } from '../frame.js';
import { spaceNames } from './colour-space.js';
import type { DevelopedFrames } from './developed-frames.js';
import { type Development, type DevelopmentOptions, developmentOf } from './development.js';
import type { RawFile } from './raw-file.js';
import type { RawLevels } from './raw-jobs.js';
import { rawWorkers } from './raw-workers.js';

type RawFrame = FrameFile & { raw: RawFile };

/** A stack whose raw frames are all to be developed in one way. */
export interface DevelopedStack {
  stack: Stack;
  /** Undefined without raw frames. */
  development: Development | undefined;
  notes: StackNote[];
}

/**
 * Decides how the raw frames of a stack are developed, all alike: by white balance and levels of the anchor, or of the
 * raw frame nearest to it whose samples can be read.
 *
 * @param anchorNumber Frame number.
 * @param kept Keeps developed frames; without it each reading develops them again.
 */
export async function developStack(
  stack: Stack,
  anchorNumber: number,
  options: DevelopmentOptions,
  kept?: DevelopedFrames,
): Promise<DevelopedStack> {
  const raws = stack.frames.filter((frame): frame is RawFrame => frame.raw !== undefined);
  if (raws.length === 0) return { stack, development: undefined, notes: [] };
  const nearest = raws.toSorted(
    (one, other) => Math.abs(one.number - anchorNumber) - Math.abs(other.number - anchorNumber),
  );
  const { anchor, levels } = await findLevels(nearest);
  // Levels of one camera mean nothing to another.
  const isOneCamera = raws.every(
    ({ exif }) => exif.make === anchor.exif.make && exif.model === anchor.exif.model,
  );
  const development = developmentOf(options, anchor.raw.white, isOneCamera ? levels : undefined);
  const frames = stack.frames.map((frame) =>
    frame.raw ? { ...frame, raw: { ...frame.raw, development, ...(kept && { kept }) } } : frame,
  );
  return { stack: { ...stack, frames }, development, notes: [noteOf(anchor, options)] };
}

async function findLevels(
  frames: readonly RawFrame[],
): Promise<{ anchor: RawFrame; levels: RawLevels | undefined }> {
  for (const anchor of frames) {
    try {
      return { anchor, levels: await rawWorkers.run({ kind: 'levels', path: anchor.path }) };
    } catch {
      // It will be named when it is developed.
    }
  }
  return { anchor: frames[0], levels: undefined };
}

function noteOf(
  { name, number, raw }: RawFrame,
  { whiteBalance, colourSpace }: DevelopmentOptions,
): StackNote {
  const frame = `frame ${number} (${name})`;
  const white =
    whiteBalance === 'daylight'
      ? 'the white balance of daylight'
      : whiteBalance !== 'camera'
        ? 'the white balance that is given'
        : raw.white.camera
          ? `the white balance of ${frame}`
          : `the white balance of daylight, for ${frame} notes none`;
  const message = `The raw files are developed alike: ${white}, no automatic brightening, colours in ${spaceNames[colourSpace]}.`;
  return { kind: 'reading', message };
}
