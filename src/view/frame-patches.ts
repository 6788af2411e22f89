import type { RowSource, Samples } from '../mend/raster.js';
import { type FramePatch, readFrameRegion } from '../trace/frame-region.js';
import { clipRegion, growRegion, holdsRegion, type PictureRegion } from '../trace/picture-region.js';
import type { StackFrame } from '../trace/stack-frames.js';

/** Pixels decoded around what is asked for: a mend wants a little more than the crop before it showed. */
const marginPx = 192;
/** Bytes of rectangles that are kept. */
const maxBytes = 128e6;

interface Kept {
  frame: number;
  window: PictureRegion;
  bytes: number;
  source: Promise<RowSource>;
}

/** Rectangles of frames, decoded when asked for; the last ones are kept. */
export class FramePatches {
  /** In the order of last use. */
  private kept: Kept[] = [];

  /** A frame of which the rows of `window` can be read. Rejects with InputError when it cannot be decoded. */
  over(frame: StackFrame, path: string, window: PictureRegion): Promise<RowSource> {
    const known = this.kept.find(
      (entry) => entry.frame === frame.number && holdsRegion(entry.window, window),
    );
    if (known) {
      this.kept = [...this.kept.filter((entry) => entry !== known), known];
      return known.source;
    }
    const wider = clipRegion(growRegion(window, marginPx), frame.size)!;
    const source = readFrameRegion(frame, path, wider).then((patch) => patchSource(patch, frame));
    // Six bytes a pixel: of 8 bits it takes half.
    const entry: Kept = { frame: frame.number, window: wider, bytes: wider.width * wider.height * 6, source };
    this.kept.push(entry);
    source.catch(() => {
      this.kept = this.kept.filter((other) => other !== entry);
    });
    let bytes = this.kept.reduce((sum, { bytes: own }) => sum + own, 0);
    while (bytes > maxBytes && this.kept.length > 1) bytes -= this.kept.shift()!.bytes;
    return source;
  }
}

function patchSource({ pixels, bits, x: left, y: top, width }: FramePatch, { size }: StackFrame): RowSource {
  return {
    width: size.width,
    height: size.height,
    channels: 3,
    bits,
    readRow(y, x, count, into: Samples) {
      const start = ((y - top) * width + x - left) * 3;
      into.set(pixels.subarray(start, start + count * 3));
    },
  };
}
