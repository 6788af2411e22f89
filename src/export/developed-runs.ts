import { rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { developerMb } from '../merge/develop-frames.js';
import type { MergeLoad } from '../merge/memory-need.js';
import { makeScratch } from '../merge/scratch-folder.js';
import { decodeFrame } from '../stack/decode.js';
import { DevelopedFrames } from '../stack/raw/developed-frames.js';
import { rawWorkers } from '../stack/raw/raw-workers.js';
import type { ReadableFrame } from './aligned-frame.js';

/** Frames from one index to before another, ready to be merged. */
type Develop = (
  from: number,
  to: number,
  signal: AbortSignal | undefined,
) => Promise<readonly ReadableFrame[]>;

/**
 * Develops the raw files of runs once each: before a run is merged, one after the other, to the folder for temporary files, from
 * which every reading of the run takes them. Those that no later run has go. So what developing takes does not
 * stand beside the memory of the merge.
 *
 * @param use Asks for its runs in the order of the frames.
 * @throws What `use` throws; InputError when a raw file cannot be developed; OutputError when there is no scratch folder.
 */
export async function withDevelopedRuns<Result>(
  frames: readonly ReadableFrame[],
  use: (develop: Develop) => Promise<Result>,
): Promise<Result> {
  if (!frames.some(({ file }) => file.raw)) return use(async (from, to) => frames.slice(from, to));
  const folder = await makeScratch(tmpdir());
  const kept = new DevelopedFrames(folder);
  try {
    return await use(async (from, to, signal) => {
      for (const { file } of frames.slice(0, from)) await kept.drop(file.number);
      const run = frames.slice(from, to).map(({ file, frame }) => ({
        frame,
        file: file.raw ? { ...file, raw: { ...file.raw, kept } } : file,
      }));
      for (const { file } of run) {
        signal?.throwIfAborted();
        if (file.raw && kept.pathOf(file.number) === undefined) await decodeFrame(file);
      }
      await rawWorkers.endIdle();
      return run;
    });
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}

/** What raw files add to, or spare of, the memory of a merge of a run. */
export function rawLoad(run: readonly ReadableFrame[]): Pick<MergeLoad, 'isStored' | 'developMb'> {
  const raws = run.filter(({ file }) => file.raw);
  if (raws.length === 0) return {};
  const { file } = raws[0];
  // A frame for which the disk has no room is developed again at each reading.
  if (file.raw!.kept?.refused.size) return { developMb: developerMb(file) };
  return { isStored: raws.length === run.length && !file.reduced };
}
