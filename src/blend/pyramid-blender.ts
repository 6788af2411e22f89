import type { Size } from '../image/image.js';
import type { Arena, Planes } from '../kernels/arena.js';
import { lanczosTaps, tapTableBytes } from '../kernels/kernels.js';
import { identityMatrix, type Matrix3 } from '../register/transform.js';
import type { StripPool } from '../workers/pool.js';
import { affineAtLevel, type PlacedFrame } from './frame-pixels.js';
import { levelSizes } from './levels.js';

/** Rows of the finest level that one worker takes at a time; even, so that coarse rows are whole. */
const finestStripRows = 32;
const stripRows = 32;
/** Resampling next to a frame's edge uses its edge pixels continued; so near it a frame does not count. */
const edgeMarginPx = 2;

/**
 * Where each coefficient of a level comes from: `centre` in frame ordinals and `reach` in frames, both u16 in
 * 1/64 frame. Planes of one u16 element per pixel of the level, in the arena.
 */
export interface SourcePlan {
  centre: Planes;
  reach: Planes;
}

/** Accumulates a weighted Laplacian pyramid frame by frame and collapses it: see assembly/blend.ts. */
export class PyramidBlender {
  readonly sizes: Size[];
  private readonly taps: number;
  private readonly sums: { acc: Planes; weight: Planes; picture: Planes | undefined }[];

  /** Takes the accumulators from the arena, cleared. `plans` holds one plan per level of `levelSizes(size)`. */
  constructor(
    private readonly arena: Arena,
    private readonly pool: StripPool,
    size: Size,
    private readonly plans: readonly SourcePlan[],
  ) {
    this.sizes = levelSizes(size);
    this.taps = arena.take(tapTableBytes);
    this.arena.f32(this.taps, tapTableBytes / 4).set(lanczosTaps());
    this.sums = this.sizes.map(({ width, height }, level) => {
      const acc = arena.takePlanes(width, height, 3, 4);
      const weight = arena.takePlanes(width, height, 1, 4);
      arena.clear(acc);
      arena.clear(weight);
      return { acc, weight, picture: level > 0 ? arena.takePlanes(width, height, 3, 4) : undefined };
    });
  }

  /** Bytes of scratch that a worker needs for frames of this size under transforms of this roll. */
  static scratchBytes(size: Size, frame: Size, maxRollRad: number): number {
    const rows = finestStripRows + 10 + 8 + Math.ceil(Math.abs(Math.tan(maxRollRad)) * size.width) + Math.ceil(finestStripRows * 0.5);
    const stride = size.width + 128;
    return (
      (frame.width + 24 + rows * size.width) * 16 +
      (finestStripRows + 10) * stride * 12 +
      (finestStripRows / 2 + 8) * (stride / 2 + 128) * 12 +
      8 * (stride + 128) * 4 +
      4096
    );
  }

  async add(frame: PlacedFrame): Promise<void> {
    const { pool, sizes, sums, plans } = this;
    const [gainR, gainG, gainB] = frame.gainRatio;
    const finest = sums[0];
    const next = sums[1].picture!;
    const warpScratch = this.warpScratchBytes(frame);
    const margin = isIdentity(frame.toFrame) ? 0 : edgeMarginPx;
    await pool.run(
      'blendFinestStrip',
      [
        frame.pointer, frame.bits, frame.width, frame.height, gainR, gainG, gainB,
        ...affineAtLevel(frame.toFrame, 0), this.taps,
        sizes[0].width, sizes[0].height, finest.acc.stride,
        next.pointer, next.stride, next.planeBytes,
        finest.acc.pointer, finest.acc.planeBytes, finest.weight.pointer,
        plans[0].centre.pointer, plans[0].reach.pointer, frame.ordinal, margin,
        warpScratch, finestStripRows,
      ],
      Math.ceil(sizes[0].height / finestStripRows),
    );
    for (let level = 1; level < sizes.length; level++) {
      const { width, height } = sizes[level];
      const here = sums[level];
      const picture = here.picture!;
      const coarse = sums[level + 1]?.picture;
      if (coarse) {
        await pool.run(
          'reduceStrip',
          [
            picture.pointer, picture.stride, picture.planeBytes, width, height,
            coarse.pointer, coarse.stride, coarse.planeBytes, 3, stripRows,
          ],
          Math.ceil(coarse.height / stripRows),
        );
      }
      await pool.run(
        'accumulateStrip',
        [
          picture.pointer, picture.stride, picture.planeBytes, width, height,
          coarse?.pointer ?? 0, coarse?.stride ?? 0, coarse?.planeBytes ?? 0,
          here.acc.pointer, here.acc.planeBytes, here.weight.pointer,
          plans[level].centre.pointer, plans[level].reach.pointer, frame.ordinal,
          ...affineAtLevel(frame.toFrame, level),
          (frame.width - 1) / 2 ** level, (frame.height - 1) / 2 ** level, margin / 2 ** level, stripRows,
        ],
        Math.ceil(height / stripRows),
      );
    }
  }

  /** Collapses the pyramid; the picture is interleaved RGB at full range of `bits`, in the arena. */
  async finish(bits: 8 | 16): Promise<number> {
    const { pool, arena, sizes, sums } = this;
    for (let level = sizes.length - 1; level >= 0; level--) {
      const { acc, weight } = sums[level];
      const coarse = sums[level + 1]?.acc;
      const { width, height } = sizes[level];
      await pool.run(
        'collapseStrip',
        [
          acc.pointer, acc.stride, acc.planeBytes, width, height, weight.pointer,
          coarse?.pointer ?? 0, coarse?.stride ?? 0, coarse?.planeBytes ?? 0, stripRows,
        ],
        Math.ceil(height / stripRows),
      );
    }
    const { width, height } = sizes[0];
    const { acc } = sums[0];
    const out = arena.take(width * height * 3 * (bits / 8) + 64);
    await pool.run(
      'quantiseStrip',
      [acc.pointer, acc.stride, acc.planeBytes, width, height, out, bits, stripRows],
      Math.ceil(height / stripRows),
    );
    return out;
  }

  private warpScratchBytes(frame: PlacedFrame): number {
    const rolled = Math.ceil(Math.abs(frame.toFrame[3]) * this.sizes[0].width);
    const rows = Math.ceil((finestStripRows + 10) * Math.abs(frame.toFrame[4])) + 8 + rolled;
    return Math.ceil(((frame.width + 24 + rows * this.sizes[0].width) * 16) / 64) * 64 + 64;
  }
}

function isIdentity(m: Matrix3): boolean {
  return m.every((value, i) => value === identityMatrix[i]);
}
