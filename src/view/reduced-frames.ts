import type { RowSource, Samples } from '../mend/raster.js';
import type { DecodedFrame, Shrink } from '../stack/decode.js';
import { decodeReducedFrame } from '../trace/decode-reduced.js';
import type { StackFrame } from '../trace/stack-frames.js';

/** Bytes of reduced frames that are kept: those about the one that is shown. */
const maxBytes = 200e6;
/** A file that must be decoded in full is reduced to so many pixels at once, for all coarser levels. */
const maxPixels = 8e6;

/** A frame at 1 / shrink: pixel (x, y) is the mean of a block of shrink x shrink. */
export interface ReducedFrame {
  source: RowSource;
  shrink: Shrink;
}

interface Kept {
  frame: number;
  path: string;
  shrink: Shrink;
  bytes: number;
  reduced: Promise<ReducedFrame>;
}

/**
 * Frames at a fraction of their size, for levels of the page that show no more. A JPEG is reduced while it is decoded,
 * in a third of the time; nothing is unpacked to disk.
 */
export class ReducedFrames {
  /** In the order of last use. */
  private kept: Kept[] = [];

  /**
   * @param step Blocks of the level, a power of two from 2 on: what comes back is reduced by it, or by a divisor of it.
   * @param begin Runs the decoding when its turn has come.
   * @throws InputError when the frame cannot be decoded or is of another size than at the merge.
   */
  read(
    frame: StackFrame,
    path: string,
    step: number,
    begin: (work: () => Promise<ReducedFrame>) => Promise<ReducedFrame>,
  ): Promise<ReducedFrame> {
    const shrink = shrinkFor(frame, path, step);
    const known = this.kept.find(
      (entry) => entry.frame === frame.number && entry.path === path && entry.shrink <= shrink,
    );
    if (known) {
      this.kept = [...this.kept.filter((entry) => entry !== known), known];
      return known.reduced;
    }
    const reduced = begin(() => decodeReduced(frame, path, shrink));
    const bytes = (frame.size.width * frame.size.height * 6) / shrink ** 2;
    const entry: Kept = { frame: frame.number, path, shrink, bytes, reduced };
    this.kept.push(entry);
    reduced.catch(() => {
      this.kept = this.kept.filter((other) => other !== entry);
    });
    let all = this.kept.reduce((sum, { bytes: own }) => sum + own, 0);
    while (all > maxBytes && this.kept.length > 1) all -= this.kept.shift()!.bytes;
    return reduced;
  }
}

function shrinkFor({ size }: StackFrame, path: string, step: number): Shrink {
  const pixels = size.width * size.height;
  const coarsest = /\.jpe?g$/i.test(path)
    ? 8
    : pixels / 4 <= maxPixels
      ? 2
      : pixels / 16 <= maxPixels
        ? 4
        : 8;
  const fits = Math.min(size.width, size.height);
  return ([8, 4, 2] as const).find((shrink) => shrink <= Math.min(step, coarsest) && shrink <= fits) ?? 1;
}

async function decodeReduced(frame: StackFrame, path: string, shrink: Shrink): Promise<ReducedFrame> {
  return { source: paddedSource(await decodeReducedFrame(frame, path, shrink), frame), shrink };
}

/** With the columns and rows of blocks that the frame fills in part only, continued from those before them. */
function paddedSource(
  { pixels, width, height, channels, bits, shrink }: DecodedFrame,
  { size }: StackFrame,
): RowSource {
  return {
    width: Math.ceil(size.width / shrink),
    height: Math.ceil(size.height / shrink),
    channels,
    bits,
    readRow(y, x, count, into: Samples) {
      const row = Math.min(y, height - 1) * width;
      const there = Math.min(count, width - x);
      if (there > 0) into.set(pixels.subarray((row + x) * channels, (row + x + there) * channels));
      const last = (row + width - 1) * channels;
      for (let i = Math.max(0, there); i < count; i++)
        into.set(pixels.subarray(last, last + channels), i * channels);
    },
  };
}
