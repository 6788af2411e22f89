import { marginOf } from '../image/frame-reach.js';
import type { Size } from '../image/image.js';
import { levelSizes } from '../image/level-sizes.js';
import { affineArguments } from '../image/placed-frame.js';
import { curveArguments, type TransferCurve } from '../image/transfer-curve.js';
import { type Arena, type Planes, planeOf, type Rows } from '../kernels/arena.js';
import { lanczosTaps } from '../kernels/kernels.js';
import type { PlacedFrame } from '../kernels/placed-frame.js';
import type { RowWindow } from '../kernels/row-windows.js';
import { JobBatch } from '../workers/job-batch.js';
import type { StripPool } from '../workers/pool.js';
import { growingSide, levelToShow, pictureSoFar, type SmallPicture } from './picture-so-far.js';
import { frontLayerBytes, type SourcePlan, tileRows as stripRows } from './plan-sources.js';
import type { Spill } from './spill.js';

/** Accumulates a weighted Laplacian pyramid frame by frame and collapses it: see assembly/blend.ts. */
export class PyramidBlender {
  readonly sizes: Size[];
  private readonly taps: number;
  /** The frame at half size in its own grid, its gain taken out, RGBx floats. */
  private readonly halfFrame: Rows;
  private readonly sums: { acc: Planes; weight: Planes; picture: Planes | undefined }[];
  /**
   * Whether level 1 of a frame is encoded only where it is read: it is not shown while the picture grows, and one memory knows
   * of all tiles which frames they use.
   */
  private readonly isPartlyEncoded: boolean;

  /**
   * Takes the accumulators from the arena, cleared.
   *
   * @param curve From the frames' samples to light, in which they are blended.
   * @param spill What is subtracted from the frames before they are blended; default nothing.
   * @param lost Part of its contrast that detail of the finest level has lost a frame away from its plane of focus (see
   *   `measureLoss`), which is restored; default 0: frames are taken as they are.
   */
  constructor(
    private readonly arena: Arena,
    private readonly pool: StripPool,
    size: Size,
    frame: Size,
    private readonly plan: SourcePlan,
    private readonly curve: TransferCurve,
    private readonly spill?: Spill,
    private readonly lost = 0,
  ) {
    this.sizes = levelSizes(size);
    const { bands } = arena;
    this.isPartlyEncoded = bands.count === 1 && levelToShow(this.sizes, growingSide) !== 1;
    this.taps = arena.takeTable(lanczosTaps());
    const halfHeight = (frame.height + 1) >> 1;
    this.halfFrame = arena.takeRows(((frame.width + 1) >> 1) * 16, bands.frame('half', 1, halfHeight));
    const stale: Planes[] = [];
    const take = (width: number, height: number, planes: number, window: RowWindow): Planes => {
      const { taken, isClear } = arena.takeKnowing(width, height, planes, 4, window);
      if (!isClear) stale.push(taken);
      return taken;
    };
    this.sums = this.sizes.map(({ width, height }, level) => {
      const acc = take(width, height, 3, bands.composite(level, height, 1));
      const weight = take(width, height, 1, bands.composite(level, height, 0));
      const ofPicture = bands.composite(level, height, 2);
      return {
        acc,
        weight,
        picture: level > 0 ? arena.takePlanes(width, height, 3, 4, ofPicture) : undefined,
      };
    });
    for (const planes of stale) this.clear(planes);
  }

  /** Has the workers clear planes before they do anything else: it is much memory for one thread. */
  private clear(taken: Planes): void {
    const { stride, planeBytes, planes, height } = taken;
    this.pool
      .run(
        'clearStrip',
        { out: taken, stride, planeBytes, planes, height, stripRows },
        Math.ceil(height / stripRows),
      )
      // Told by the jobs that follow.
      .catch(() => {});
  }

  /** Bytes of scratch that a worker needs for frames of this size under transforms of this roll. */
  static scratchBytes(size: Size, frame: Size, maxRollRad: number): number {
    const stride = size.width + 128;
    return warpScratchBytes(size, frame, Math.tan(maxRollRad)) + (stripRows + 4) * stride * 12 + 4096;
  }

  async add(frame: PlacedFrame): Promise<void> {
    const { sizes, sums } = this;
    const jobs = new JobBatch(this.pool);
    const { levels: plans, uses, usesBytes, fractionBits } = this.plan;
    const [gainR, gainG, gainB] = frame.gainRatio;
    const finest = sums[0];
    const next = sums[1].picture!;
    const margin = marginOf(frame.toFrame);
    const half = { width: (frame.width + 1) >> 1, height: (frame.height + 1) >> 1 };
    // The coarser levels come from the frame reduced in its own grid: a quarter of the pixels to warp, and the
    // full-size frame is warped only where it supplies detail.
    jobs.run(
      'reduceFrameStrip',
      {
        source: frame.pointer,
        bits: frame.bits,
        width: frame.width,
        height: frame.height,
        gainR,
        gainG,
        gainB,
        ...curveArguments(this.curve),
        out: this.halfFrame,
        stripRows,
      },
      Math.ceil(half.height / stripRows),
    );
    jobs.run(
      'warpStrip',
      {
        source: this.halfFrame,
        bits: 32,
        sourceWidth: half.width,
        sourceHeight: half.height,
        gainR: 1,
        gainG: 1,
        gainB: 1,
        ...affineArguments(frame.toFrame, 1),
        taps: this.taps,
        out: next,
        stride: next.stride,
        planeBytes: next.planeBytes,
        width: next.width,
        height: next.height,
        stripRows,
      },
      Math.ceil(next.height / stripRows),
    );
    // The finest level is a frame's own detail, whatever spill lies over it.
    if (this.spill) this.encode(next, jobs);
    else this.reduceAndEncode(frame.ordinal, jobs);
    jobs.run(
      'blendFinestStrip',
      {
        source: frame.pointer,
        bits: frame.bits,
        sourceWidth: frame.width,
        sourceHeight: frame.height,
        gainR,
        gainG,
        gainB,
        ...affineArguments(frame.toFrame, 0),
        taps: this.taps,
        width: sizes[0].width,
        height: sizes[0].height,
        stride: finest.acc.stride,
        coarse: next,
        coarseStride: next.stride,
        coarseBytes: next.planeBytes,
        acc: finest.acc,
        accBytes: finest.acc.planeBytes,
        sum: finest.weight,
        centre: plans[0].centre,
        reachMap: plans[0].reach,
        frontBytes: frontLayerBytes(plans[0]),
        ordinal: frame.ordinal,
        fractionBits,
        margin,
        lost: this.lost,
        uses,
        usesBytes,
        warpScratchBytes: warpScratchBytes(sizes[0], frame, frame.toFrame[3]),
        stripRows,
      },
      Math.ceil(sizes[0].height / stripRows),
    );
    if (this.spill) {
      jobs.run(
        'subtractSpillStrip',
        {
          picture: next,
          stride: next.stride,
          planeBytes: next.planeBytes,
          width: next.width,
          height: next.height,
          depthIndices: this.spill.depthIndices,
          spills: this.spill.spills,
          ...curveArguments(this.curve),
          ordinal: frame.ordinal,
          fractionBits,
          stripRows,
        },
        Math.ceil(next.height / stripRows),
      );
      this.reduceAndEncode(frame.ordinal, jobs);
    }
    for (let level = 1; level < sizes.length; level++) {
      const { width, height } = sizes[level];
      const here = sums[level];
      const picture = here.picture!;
      const coarse = sums[level + 1]?.picture;
      jobs.run(
        'accumulateStrip',
        {
          picture,
          stride: picture.stride,
          pictureBytes: picture.planeBytes,
          width,
          height,
          coarse: coarse ?? 0,
          coarseStride: coarse?.stride ?? 0,
          coarseBytes: coarse?.planeBytes ?? 0,
          acc: here.acc,
          accBytes: here.acc.planeBytes,
          sum: here.weight,
          centre: plans[level].centre,
          reachMap: plans[level].reach,
          frontBytes: frontLayerBytes(plans[level]),
          ordinal: frame.ordinal,
          fractionBits,
          ...affineArguments(frame.toFrame, level),
          lastColumn: (frame.width - 1) / 2 ** level,
          lastRow: (frame.height - 1) / 2 ** level,
          margin: margin / 2 ** level,
          stripRows,
        },
        Math.ceil(height / stripRows),
      );
    }
    await jobs.done();
  }

  /** The coarser levels of a frame from its level 1, which is light; then all of them are encoded. */
  private reduceAndEncode(ordinal: number, jobs: JobBatch): void {
    const levels = this.sums.flatMap(({ picture }) => picture ?? []);
    for (const [i, fine] of levels.entries()) {
      const coarse = levels.at(i + 1);
      if (coarse) {
        jobs.run(
          'reduceStrip',
          {
            fine,
            stride: fine.stride,
            planeBytes: fine.planeBytes,
            width: fine.width,
            height: fine.height,
            coarse,
            coarseStride: coarse.stride,
            coarsePlaneBytes: coarse.planeBytes,
            planes: 3,
            stripRows,
          },
          Math.ceil(coarse.height / stripRows),
        );
      }
      if (i === 0 && this.isPartlyEncoded) this.encodeUsed(fine, ordinal, jobs);
      else this.encode(fine, jobs);
    }
  }

  /** Encodes level 1 of a frame where it is read. */
  private encodeUsed(picture: Planes, ordinal: number, jobs: JobBatch): void {
    const { levels, uses, usesBytes, fractionBits } = this.plan;
    const [full] = this.sizes;
    jobs.run(
      'encodeUsedStrip',
      {
        ...this.encodeArguments(picture),
        centre: levels[1].centre,
        reachMap: levels[1].reach,
        frontBytes: frontLayerBytes(levels[1]),
        ordinal,
        fractionBits,
        uses,
        usesBytes,
        fullWidth: full.width,
        fullHeight: full.height,
      },
      Math.ceil(picture.height / stripRows),
    );
  }

  private encode(picture: Planes, jobs: JobBatch): void {
    jobs.run('encodeStrip', this.encodeArguments(picture), Math.ceil(picture.height / stripRows));
  }

  /** A picture of a frame, and the curve that it is encoded by. */
  private encodeArguments(picture: Planes) {
    const { stride, planeBytes, width, height } = picture;
    return { picture, stride, planeBytes, width, height, ...curveArguments(this.curve), stripRows };
  }

  /**
   * The picture as far as it is added, from the finest level but the first whose sides are at most `maxSide` px; to be
   * asked for between frames, and before `finish`. Undefined for a picture of one level.
   */
  soFar(maxSide: number): SmallPicture | undefined {
    const { arena, sizes, sums } = this;
    const shown = levelToShow(sizes, maxSide);
    if (shown === undefined) return undefined;
    const planesOf = (planes: Planes) =>
      Array.from(
        { length: planes.planes },
        (_, plane) => new Float32Array(arena.gather(planeOf(planes, plane)).buffer),
      );
    return pictureSoFar(
      sums.slice(shown).map(({ acc, weight, picture }) => ({
        width: acc.width,
        height: acc.height,
        stride: acc.stride,
        sums: [...planesOf(acc), ...planesOf(weight)],
        picture: planesOf(picture!),
      })),
    );
  }

  /**
   * Collapses the pyramid; the picture is interleaved RGB at full range of `bits`, rows tight, in the arena.
   *
   * @param region Of the arena, which has served: the picture is put there where it fits.
   */
  async finish(bits: 8 | 16, region = { from: 0, to: 0 }): Promise<Rows> {
    const { arena, sizes, sums } = this;
    const jobs = new JobBatch(this.pool);
    const termsOf = (level: number) => {
      const { acc, weight } = sums[level];
      const coarse = sums[level + 1]?.acc;
      return {
        acc,
        stride: acc.stride,
        accBytes: acc.planeBytes,
        ...sizes[level],
        sum: weight,
        coarse: coarse ?? 0,
        coarseStride: coarse?.stride ?? 0,
        coarseBytes: coarse?.planeBytes ?? 0,
        stripRows,
      };
    };
    for (let level = sizes.length - 1; level > 0; level--) {
      jobs.run('collapseStrip', termsOf(level), Math.ceil(sizes[level].height / stripRows));
    }
    const { width, height } = sizes[0];
    const out = arena.takeWithin(region, () =>
      arena.takeRows(width * 3 * (bits / 8), arena.bands.composite(0, height, 0)),
    );
    jobs.run('quantiseStrip', { ...termsOf(0), out, bits }, Math.ceil(height / stripRows));
    await jobs.done();
    return out;
  }
}

/** Room for one block of 512 columns between the two passes of the warp. */
function warpScratchBytes(size: Size, frame: Size, roll: number): number {
  const columns = Math.min(512, size.width);
  const scale = 2;
  const rolled = Math.ceil(Math.abs(roll) * (columns + stripRows));
  const rows = stripRows * scale + 16 + rolled;
  const across = Math.min(frame.width, columns * scale + rolled) + 64;
  return Math.ceil(((2 * across + rows * (columns + 8)) * 16) / 64) * 64 + 64;
}
