import { FocusTracker } from '../focus/focus-tracker.js';
import type { Size } from '../image/image.js';
import { invertMatrix, type Matrix3 } from '../image/transform.js';
import { Arena } from '../kernels/arena.js';
import {
  compileKernels,
  instantiateKernels,
  type KernelName,
  orderArguments,
  type StripArguments,
} from '../kernels/kernels.js';
import { averageBoxes } from '../stack/average-boxes.js';
import type { PictureEvidence } from '../stack/focus-direction.js';
import { seeThrough } from '../surface/see-through.js';

/**
 * Maximum number of frames that are kept, evenly spread over the stack: few enough to hold in memory, enough to
 * distinguish near from far.
 */
const maxFrames = 32;
/** Pictures of more pixels are kept at half their size. */
const maxPixels = 2.4e6;
/** Pyramid levels that are measured: coarser ones of a reduced picture add little. */
const levels = 2;

/**
 * Keeps the brightness of some frames of a check as they are read, and estimates from them, once they are aligned,
 * which end of the stack is near. A merge uses all its frames at full size and may decide where a check does not.
 */
export class NearEnd {
  private readonly kept = new Map<number, Uint8Array>();
  private readonly every: number;
  private readonly factor: 1 | 2;
  private readonly size: Size;

  /**
   * @param count Number of frames to come.
   * @param frame Size of their reduced pictures.
   */
  constructor(
    count: number,
    private readonly frame: Size,
  ) {
    this.every = Math.ceil(count / maxFrames);
    this.factor = frame.width * frame.height > maxPixels ? 2 : 1;
    this.size = {
      width: Math.floor(frame.width / this.factor),
      height: Math.floor(frame.height / this.factor),
    };
  }

  /** Whether the brightness of a frame is asked for, by its index among those that can be read. */
  wants(index: number): boolean {
    return index % this.every === 0;
  }

  /** Takes the brightness (rows, cols) of such a frame, 0 to 255. */
  take(index: number, brightness: Uint8Array): void {
    const { width, height } = this.frame;
    const kept = this.factor === 1 ? brightness : averageBoxes(brightness, width, height, 1, 2);
    this.kept.set(index, kept as Uint8Array);
  }

  /**
   * @param toAnchor Frame to anchor of each frame, full-size pixels; undefined for one that is not aligned.
   * @param shrink Full-size pixels per pixel of the reduced pictures.
   */
  async look(
    toAnchor: readonly (Matrix3 | undefined)[],
    shrink: number,
  ): Promise<PictureEvidence | undefined> {
    const used = [...this.kept]
      .filter(([index]) => toAnchor[index] !== undefined)
      .sort(([one], [other]) => one - other);
    const { width, height } = this.size;
    const scale = shrink * this.factor;
    const arena = new Arena();
    const kernels = await instantiateKernels(await compileKernels(), arena.memory);
    const scratch = arena.take(FocusTracker.scratchBytes(this.size));
    const inThisThread = {
      async run<K extends KernelName>(kernel: K, given: StripArguments<K>, strips: number): Promise<void> {
        const args = orderArguments(kernel, given);
        for (let strip = 0; strip < strips; strip++) kernels[kernel](...args, strip, scratch);
      },
    };
    const pointer = arena.take(width * height * 3 + 64);
    const tracker = new FocusTracker(arena, inThisThread, this.size, this.size, levels);
    for (const [i, [index, luma]] of used.entries()) {
      const pixels = arena.u8(pointer, width * height * 3);
      for (let at = 0, p = 0; at < luma.length; at++, p += 3) {
        pixels[p] = pixels[p + 1] = pixels[p + 2] = luma[at];
      }
      await tracker.add({
        pointer,
        bits: 8,
        ...this.size,
        toFrame: reducedMatrix(invertMatrix(toAnchor[index]!), scale),
        gainRatio: [1, 1, 1],
        ordinal: i + 1,
      });
    }
    const shown = seeThrough(tracker, used.length);
    // In full-size pixels from one frame of the stack to the next.
    return shown && { ...shown, blurPx: (shown.blurPx * scale) / this.every };
  }
}

/** Converts a similarity of full-size pixels to pixels `scale` times as wide; pixel centres lie at integers. */
function reducedMatrix(m: Matrix3, scale: number): Matrix3 {
  const centre = (scale - 1) / 2;
  return [
    m[0],
    m[1],
    (m[0] * centre + m[1] * centre + m[2] - centre) / scale,
    m[3],
    m[4],
    (m[3] * centre + m[4] * centre + m[5] - centre) / scale,
    0,
    0,
    1,
  ];
}
