import { type GrowingLevel, levelToShow, pictureSoFar, type SmallPicture } from '../blend/picture-so-far.js';
import { tileRows } from '../blend/plan-sources.js';
import type { Size } from '../image/image.js';
import { affineArguments } from '../image/placed-frame.js';
import type { TransferCurve } from '../image/transfer-curve.js';
import { lanczosTaps } from '../kernels/kernels.js';
import type { Gpu } from './device.js';
import type { GpuFrame } from './focus.js';
import { type GpuLevelPlan, type GpuSourcePlan, noRows } from './plan.js';
import { coarserRows, finerRows, type GpuPlanes, placedRows, sameRows } from './planes.js';
import type { Affine } from './programs.js';

/** Rows about a position that a warp asks for, and one for rounding. */
const tapRows = 5;

interface Level {
  plan: GpuLevelPlan;
  /** Three planes of accumulated detail and one of weights. */
  sums: GpuPlanes;
}

interface CoarserLevel extends Level {
  /** The frame at hand. */
  picture: GpuPlanes;
}

/** Accumulates a weighted Laplacian pyramid frame by frame and collapses it: see blend/pyramid-blender.ts. */
export class GpuPyramidBlender {
  private readonly taps: GPUBuffer;
  /** The frame at half size in its own grid, its gain taken out, light. */
  private readonly halfFrame: GpuPlanes;
  private readonly finest: Level;
  /** From level 1 on. */
  private readonly coarser: readonly CoarserLevel[];

  /**
   * Takes the accumulators from the device's memory.
   *
   * @param curve From the frames' samples to light, in which they are blended.
   * @param spill What is subtracted from the frames before they are blended; default nothing.
   * @param lost Part of its contrast that detail of the finest level has lost a frame away from its plane of focus.
   */
  constructor(
    private readonly gpu: Gpu,
    frame: Size,
    private readonly plan: GpuSourcePlan,
    private readonly curve: TransferCurve,
    private readonly spill?: GpuPlanes,
    private readonly lost = 0,
  ) {
    this.taps = gpu.takeTable(lanczosTaps());
    this.halfFrame = gpu.takePlanes((frame.width + 1) >> 1, (frame.height + 1) >> 1, 3, 4);
    const [finest, ...coarser] = plan.levels.map((of) => {
      const { width, height } = of.maps;
      return { plan: of, sums: gpu.takePlanes(width, height, 4, 4) };
    });
    this.finest = finest;
    this.coarser = coarser.map((level) => {
      const { width, height } = level.plan.maps;
      return { ...level, picture: gpu.takePlanes(width, height, 3, 4) };
    });
  }

  /** Notes the work of a frame; its memory may be written again once that is done. */
  add(frame: GpuFrame): void {
    const { gpu, taps, halfFrame, coarser } = this;
    const curve = [...this.curve, 0] as const;
    const next = coarser[0].picture;
    // The coarser levels come from the frame reduced in its own grid: a quarter of the pixels to warp, and the
    // full-size frame is warped only where it supplies detail.
    gpu.run(
      'reduceFrame',
      { gain: gainOf(frame), curve, bits: frame.bits },
      { frame: { set: frame.pixels, rows: finerRows(2) }, out: halfFrame },
      halfFrame,
    );
    const half = affineArguments(frame.toFrame, 1);
    gpu.run(
      'warp',
      { toSource: warpAffine(half) },
      { source: { set: halfFrame, rows: placedRows(half, next.width, tapRows) }, taps, out: next },
      next,
    );
    // The finest level is a frame's own detail, whatever spill lies over it.
    if (this.spill) this.encode(next);
    else this.reduceAndEncode();
    this.addFinest(frame, next);
    if (this.spill) {
      const { ordinal } = frame;
      const { fractionBits } = this.plan;
      gpu.run('subtractSpill', { curve, ordinal, fractionBits }, { spills: this.spill, picture: next }, next);
      this.reduceAndEncode();
    }
    for (const [i, { plan, picture, sums }] of coarser.entries()) {
      const coarse = coarser.at(i + 1)?.picture;
      gpu.run(
        'accumulate',
        { ordinal: frame.ordinal, fractionBits: this.plan.fractionBits, hasCoarse: coarse ? 1 : 0 },
        {
          picture,
          coarse: coarse ? { set: coarse, rows: coarserRows(1) } : { set: picture, rows: noRows },
          plan: plan.maps,
          spans: plan.spans,
          sums,
        },
        sums,
      );
    }
  }

  /** The picture as far as it is added: see `PyramidBlender.soFar`. Throws GpuError. */
  async soFar(maxSide: number): Promise<SmallPicture | undefined> {
    const shown = levelToShow(
      this.plan.levels.map(({ maps }) => maps),
      maxSide,
    );
    if (shown === undefined) return undefined;
    const levels: GrowingLevel[] = [];
    for (const { sums, picture } of this.coarser.slice(shown - 1)) {
      const { width, height } = sums;
      levels.push({
        ...{ width, height, stride: width },
        sums: await this.readPlanes(sums),
        picture: await this.readPlanes(picture),
      });
    }
    return pictureSoFar(levels);
  }

  /**
   * Collapses the pyramid and gives all memory back. The picture is interleaved RGB at full range of `bits`.
   *
   * @param to Memory of the picture; default: of this thread.
   */
  async finish(bits: 8 | 16, to?: Uint8Array | Uint16Array): Promise<Uint8Array | Uint16Array> {
    const { gpu, finest, coarser } = this;
    const levels = [finest, ...coarser];
    for (let level = levels.length - 1; level >= 0; level--) {
      const { sums } = levels[level];
      const coarse = levels.at(level + 1)?.sums;
      gpu.run(
        'collapse',
        { hasCoarse: coarse ? 1 : 0 },
        {
          coarse: coarse ? { set: coarse, rows: coarserRows(1) } : { set: this.halfFrame, rows: noRows },
          sums,
        },
        sums,
      );
    }
    const { width, height } = finest.sums;
    gpu.release(this.taps, this.halfFrame, ...coarser.flatMap(({ picture, sums }) => [picture, sums]));
    const out = gpu.takeFrame(width, height, bits);
    gpu.run(
      'quantise',
      { bits },
      { picture: { set: finest.sums, rows: sameRows(1) }, out },
      { width: Math.ceil(out.rowBytes / 4), height },
    );
    const samples = 3 * width * height;
    const pixels = to ?? (bits === 8 ? new Uint8Array(samples) : new Uint16Array(samples));
    await gpu.readTable(out.buffer, new Uint8Array(pixels.buffer, pixels.byteOffset, pixels.byteLength));
    gpu.release(finest.sums, out);
    return pixels;
  }

  private async readPlanes(set: GpuPlanes): Promise<Float32Array[]> {
    const planes: Float32Array[] = [];
    for (let plane = 0; plane < set.planes; plane++) {
      const values = new Float32Array(set.width * set.height);
      await this.gpu.readPlane(set, plane, new Uint8Array(values.buffer), set.width * 4);
      planes.push(values);
    }
    return planes;
  }

  /** The finest level of a frame, where the plan asks for it. */
  private addFinest(frame: GpuFrame, coarse: GpuPlanes): void {
    const { plan, finest, taps } = this;
    const { maps, spans } = finest.plan;
    const toFrame = affineArguments(frame.toFrame, 0);
    this.gpu.run(
      'blendFinest',
      {
        toSource: warpAffine(toFrame),
        gain: gainOf(frame),
        bits: frame.bits,
        ordinal: frame.ordinal,
        fractionBits: plan.fractionBits,
        lost: this.lost,
        useWords: plan.useWords,
        tileRows,
      },
      {
        frame: { set: frame.pixels, rows: placedRows(toFrame, maps.width, tapRows) },
        coarse: { set: coarse, rows: coarserRows(1) },
        plan: maps,
        spans,
        uses: plan.uses,
        taps,
        sums: finest.sums,
      },
      finest.sums,
    );
  }

  /** The coarser levels of a frame from its level 1, which is light; then all of them are encoded. */
  private reduceAndEncode(): void {
    for (const [i, { picture }] of this.coarser.entries()) {
      const coarse = this.coarser.at(i + 1)?.picture;
      if (coarse) this.gpu.run('reduce', {}, { fine: { set: picture, rows: finerRows(2) }, coarse }, coarse);
      this.encode(picture);
    }
  }

  private encode(picture: GpuPlanes): void {
    this.gpu.run('encode', { curve: [...this.curve, 0] }, { picture }, picture);
  }
}

/**
 * A warp in two passes, as kernels/assembly/warp.ts: x is that of the column of the output in a row of the SOURCE, with y
 * eliminated; y is that of a pixel of the output.
 */
export function warpAffine({ a, b, c, d, e, f }: Affine): Affine {
  const slant = b / e;
  return { a: a - slant * d, b: slant, c: c - slant * f, d, e, f };
}

/** Factors of a frame's samples, which those of 16 bits bring down to 0..255. */
function gainOf({ gainRatio: [r, g, b], bits }: GpuFrame) {
  const unit = bits === 16 ? 1 / 257 : 1;
  return [unit * r, unit * g, unit * b, 0] as const;
}
