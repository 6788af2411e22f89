import { availableParallelism } from 'node:os';
import { join } from 'node:path';
import { keptFramesBytes, refuseOversized, threadsWithin } from '../merge/memory-need.js';
import { mergeFrames, NothingSharpError } from '../merge/merge-frames.js';
import { RunLog } from '../merge/run-log.js';
import type { UsedFrame } from '../merge/used-frame.js';
import { resolveOptions } from '../options/resolve-merge-options.js';
import type { RunRecord } from '../result/run-record.js';
import { writeTiff } from '../result/tiff-file.js';
import { KeptFrames } from '../stack/kept-frames.js';
import type { ReadableFrame } from './aligned-frame.js';
import { rawLoad, withDevelopedRuns } from './developed-runs.js';
import type { ExportedRun } from './export-record.js';
import { type FileContext, fourDigits } from './write-frames.js';

/**
 * Cuts `count` frames into runs of `length`, each of which begins with the last `overlap` of the one before it. The last run is moved
 * back, so that it is as long as the others. With fewer frames than `length` all make one run.
 *
 * @returns For each run the first index and the one past its last.
 */
export function splitRuns(count: number, length: number, overlap: number): [from: number, to: number][] {
  const runs: [number, number][] = [];
  for (let from = 0; ; from += length - overlap) {
    if (from + length >= count) return [...runs, [Math.max(0, count - length), count]];
    runs.push([from, from + length]);
  }
}

/**
 * Merges runs of neighbouring frames by themselves, with the motion, light and framing of the whole stack, so
 * that they lie on top of each other. Written as TIFF.
 *
 * @param frames All frames in use, in capture order.
 * @returns The runs that were written; sentences about those in which nothing is sharp.
 */
export async function writePartComposites(
  context: FileContext,
  record: RunRecord,
  frames: readonly ReadableFrame[],
  [length, overlap]: readonly [number, number],
  onRun: (done: number, runs: number) => void,
): Promise<{ runs: ExportedRun[]; notes: string[] }> {
  const { dir, icc, software, signal } = context;
  const written: ExportedRun[] = [];
  const notes: string[] = [];
  const runs = splitRuns(frames.length, length, overlap);
  await withDevelopedRuns(frames, async (develop) => {
    for (const [i, [from, to]] of runs.entries()) {
      await writeRun(await develop(from, to, signal));
      onRun(i + 1, runs.length);
    }
  });
  return { runs: written, notes };

  async function writeRun(part: readonly ReadableFrame[]): Promise<void> {
    const numbers = part.map(({ frame }) => frame.number);
    const file = `runs/frames-${fourDigits(numbers[0])}-${fourDigits(numbers.at(-1)!)}.tif`;
    const merged = await mergeRun(record, part, signal);
    if (merged) {
      const { width, height } = record.size;
      const { channels } = record;
      const pixels = channels === 3 ? merged : merged.filter((_, at) => at % 3 === 0);
      await writeTiff(join(dir, file), pixels, width, height, channels, { icc, software, signal });
      written.push({ file, frames: numbers });
    } else {
      notes.push(
        `Frames ${numbers[0]} to ${numbers.at(-1)} show nothing sharp: they have no composite of their own.`,
      );
    }
  }
}

/** The composite of some frames, interleaved RGB; undefined when nothing in them is sharp. */
async function mergeRun(
  record: RunRecord,
  part: readonly ReadableFrame[],
  signal: AbortSignal | undefined,
): Promise<Uint8Array | Uint16Array | undefined> {
  const { frameSize: size, crop, bits, direction, focusWidthSteps } = record;
  const load = { size, bits: part[0].file.bits, frames: part.length, ...rawLoad(part) };
  const options = resolveOptions({ rule: record.options.rule });
  refuseOversized(load, options.memoryMb);
  const threads = threadsWithin(load, availableParallelism(), options.memoryMb) ?? 1;
  const byNumber = new Map(record.frames.map((frame) => [frame.number, frame]));
  const used = part.map(({ file, frame }, k): UsedFrame => {
    const { transform } = byNumber.get(file.number)!;
    return { file, ordinal: k + 1, toAnchor: transform!, gainRatio: [...frame.gainRatio] };
  });
  const steps = used.slice(1).map(({ file }) => byNumber.get(file.number)!.travelSteps ?? 1);
  try {
    const merged = await mergeFrames(
      used,
      size,
      crop,
      bits,
      { ...options, threads },
      () => ({ direction }),
      () => undefined,
      steps,
      focusWidthSteps,
      [],
      new KeptFrames(keptFramesBytes(load, threads, options.memoryMb)),
      new RunLog(signal ? { signal } : {}),
      signal,
    );
    return merged.pixels.slice();
  } catch (error) {
    if (error instanceof NothingSharpError) return undefined;
    throw error;
  }
}
