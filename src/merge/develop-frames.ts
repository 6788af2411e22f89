import { rm, statfs } from 'node:fs/promises';
import { resolve } from 'node:path';
import { optionError } from '../option-error.js';
import type { MergeOptions } from '../options/merge-options.js';
import { isWithin } from '../result/path-within.js';
import type { Stack } from '../stack/frame.js';
import { type DevelopedStack, developStack } from '../stack/raw/develop-stack.js';
import { DevelopedFrames, sparedBytes } from '../stack/raw/developed-frames.js';
import { rawWorkers } from '../stack/raw/raw-workers.js';
import { countOf } from '../stack/words.js';
import { memoryNeedMb, refuseOversized } from './memory-need.js';
import { anchorNumber } from './register-stack.js';
import { releaseMemory } from './release-memory.js';
import type { RunLog } from './run-log.js';
import { makeScratch } from './scratch-folder.js';

/**
 * Bytes a pixel of the file that developing takes: mosaic 2, picture 8, its copy for output 6, what is handed over 6, and
 * the file 2; halved by developing, a quarter of all but mosaic and file.
 */
const bytesPerPixel = { whole: 24, half: 9 };
/** A worker and its code, MB. */
const workerMb = 70;
/** What the first reading takes beside the workers, MB; see `memoryModel`. */
const readingMb = 300;

/** Memory of one worker that develops frames of a stack, MB. */
export function developerMb({ size, reduced }: Pick<Stack, 'size' | 'reduced'>): number {
  const { width, height } = reduced?.fileSize ?? size;
  return workerMb + (width * height * bytesPerPixel[reduced ? 'half' : 'whole']) / 1e6;
}

/**
 * Runs a merge of a stack whose raw frames are developed once, at the first reading, and kept below `scratch` for the
 * readings after it. What was kept goes when `use` settles.
 *
 * @param scratch Folder that exists.
 * @throws What `use` throws; OutputError when frames cannot be kept; InputError when those that must be developed again
 *   for want of room need more memory than is allowed.
 */
export async function withDevelopedFrames<Result>(
  stack: Stack,
  options: MergeOptions,
  scratch: string,
  log: RunLog,
  use: (developed: DevelopedStack) => Promise<Result>,
): Promise<Result> {
  const raws = stack.frames.filter(({ raw }) => raw).length;
  if (raws === 0) return use({ stack, development: undefined, notes: [] });
  if (options.scratch !== undefined && isWithin(resolve(options.scratch), stack.folder)) {
    throw optionError('scratch', 'a folder outside of that of the photographs', options.scratch);
  }
  const folder = await makeScratch(resolve(options.scratch ?? scratch));
  try {
    const { bavail, bsize } = await statfs(folder);
    const pixels =
      stack.size.width * stack.size.height * (stack.reduced ? (stack.reduced.factor / 2) ** 2 : 1);
    const hasRoom = bavail * bsize - sparedBytes >= raws * pixels * 6;
    const developMb = hasRoom ? 0 : developerMb(stack);
    const isStored = hasRoom && !stack.reduced && raws === stack.frames.length;
    const load = { size: stack.size, bits: stack.bits, frames: stack.frames.length, isStored };
    if (developMb > 0) refuseOversized({ ...load, developMb }, options.memoryMb);
    // As much as the merge itself will take later, when they have ended.
    const room = (memoryNeedMb(load, options.threads) - readingMb) / developerMb(stack);
    rawWorkers.allow(Math.min(options.threads, Math.floor(room)));
    const developed = await developStack(
      stack,
      anchorNumber(stack.frames, options.anchor),
      options,
      new DevelopedFrames(folder, hasRoom),
    );
    for (const { message } of developed.notes) log.note(message);
    return await use(developed);
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}

/**
 * To be called when all frames have been developed: the memory of the workers is wanted for the merge.
 *
 * @param stack As `withDevelopedFrames` handed it on.
 */
export async function endDevelopment(stack: Stack, log: RunLog): Promise<void> {
  const kept = stack.frames.find(({ raw }) => raw)?.raw?.kept;
  if (!kept) return;
  if (kept.refused.size > 0) {
    rawWorkers.allow(1);
    log.note(
      `${countOf(kept.refused.size, 'developed frame')} found no room in the scratch folder ${kept.folder} and will be developed again for each reading, which takes longer.`,
    );
  }
  await rawWorkers.endIdle();
  if (kept.refused.size === 0) await releaseMemory();
}
