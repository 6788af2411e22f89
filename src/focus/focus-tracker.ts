import type { Size } from '../image/image.js';
import { levelSizes } from '../image/level-sizes.js';
import { affineArguments, type PlacedFrame } from '../image/placed-frame.js';
import type { Arena, Planes } from '../kernels/arena.js';
import { minNoiseSamples, prominenceCodes } from '../model/constants/focus.js';
import type { StripPool } from '../workers/pool.js';
import {
  type CurveGrid,
  discAtLevel,
  type FocusCurves,
  gridStep,
  type MaskedDisc,
  noiseBin,
  noiseBins,
  noiseCodesOf,
  noiseGrid,
  type StatePlane,
  statePlane,
  statePlanes,
  unmeasuredEdge,
} from './focus-curves.js';

const stripRows = 32;

/** Of levels 0, 1 and 2. */
const tonePlanes = [statePlane.tones, statePlane.coarseTones, statePlane.coarseTones];

/**
 * Follows the focus curve of every pixel at the finest levels, frame by frame, in memory of fixed size: best
 * value with its neighbours, and a second peak. Frames must come in the order of their ordinals.
 */
export class FocusTracker implements FocusCurves {
  readonly state: Planes[];
  private readonly codes: Planes[];
  private readonly luma: Planes[];
  private readonly lumaCodes: Planes;
  /** Two planes of a frame's size, free once all frames are followed. */
  readonly work: Planes;
  /** Tenth percentiles: [level][brightness bin][frame]. */
  private lowCodes: number[][][];

  constructor(
    private readonly arena: Arena,
    private readonly pool: Pick<StripPool, 'run'>,
    size: Size,
    frame: Size,
    readonly levels: number,
    private readonly dust: readonly MaskedDisc[] = [],
  ) {
    const out = levelSizes(size).slice(0, levels);
    this.levels = out.length;
    const own = levelSizes(frame).slice(0, this.levels);
    this.state = out.map(({ width, height }, level) => {
      return arena.takeCleared(width, height, statePlanes(level), 2);
    });
    this.work = arena.takePlanes(own[0].width, own[0].height, 2, 2);
    this.lumaCodes = { ...this.work, pointer: this.work.pointer + this.work.planeBytes, planes: 1 };
    this.codes = own.map(({ width, height }, level) =>
      level === 0 ? { ...this.work, planes: 1 } : arena.takePlanes(width, height, 1, 2),
    );
    this.luma = own.map(({ width, height }, level) =>
      level === 0 ? arena.takePlanes(1, 1, 1, 4) : arena.takePlanes(width, height, 1, 4),
    );
    this.lowCodes = out.map(() => Array.from({ length: noiseBins }, () => []));
  }

  /** Bytes of scratch that a worker needs for frames of this width. */
  static scratchBytes(frame: Size): number {
    return 18 * (frame.width + 64) * 4 + 4096;
  }

  async add(frame: PlacedFrame): Promise<void> {
    const { pool, codes, luma, state } = this;
    const coarse = luma[1];
    await pool.run(
      'focusFinestStrip',
      {
        source: frame.pointer,
        bits: frame.bits,
        width: frame.width,
        height: frame.height,
        codes: codes[0].pointer,
        lumaOut: this.lumaCodes.pointer,
        codeStride: codes[0].stride,
        coarse: coarse.pointer,
        coarseStride: coarse.stride,
        stripRows,
      },
      Math.ceil(frame.height / stripRows),
    );
    for (let level = 1; level < this.levels; level++) {
      const here = luma[level];
      const next = luma[level + 1];
      await pool.run(
        'focusStrip',
        {
          luma: here.pointer,
          stride: here.stride,
          width: here.width,
          height: here.height,
          codes: codes[level].pointer,
          codeStride: codes[level].stride,
          stripRows,
        },
        Math.ceil(here.height / stripRows),
      );
      if (next) {
        await pool.run(
          'reduceStrip',
          {
            fine: here.pointer,
            stride: here.stride,
            planeBytes: here.planeBytes,
            width: here.width,
            height: here.height,
            coarse: next.pointer,
            coarseStride: next.stride,
            coarsePlaneBytes: next.planeBytes,
            planes: 1,
            stripRows,
          },
          Math.ceil(next.height / stripRows),
        );
      }
    }
    for (const disc of this.dust) this.maskDisc(disc);
    for (let level = 0; level < this.levels; level++) {
      const s = state[level];
      const tracked = pool.run(
        'trackStrip',
        {
          codes: codes[level].pointer,
          codeStride: codes[level].stride,
          sourceWidth: codes[level].width,
          sourceHeight: codes[level].height,
          luma: this.lumaCodes.pointer,
          lumaStride: this.lumaCodes.stride,
          lumaWidth: this.lumaCodes.width,
          lumaHeight: this.lumaCodes.height,
          tones: level < tonePlanes.length ? state[0].pointer + tonePlanes[level] * state[0].planeBytes : 0,
          toneStride: state[0].stride,
          toneWidth: state[0].width,
          toneHeight: state[0].height,
          level,
          ...affineArguments(frame.toFrame, level),
          margin: unmeasuredEdge,
          state: s.pointer,
          stateBytes: s.planeBytes,
          stride: s.stride,
          width: s.width,
          height: s.height,
          ordinal: frame.ordinal,
          prominence: prominenceCodes,
          stripRows,
        },
        Math.ceil(s.height / stripRows),
      );
      // Read here while the workers follow the curves: the codes stay as they are.
      this.noteNoise(level);
      await tracked;
    }
  }

  /** Takes noise that was measured elsewhere: see `lowCodes`. */
  adoptNoise(lowCodes: number[][][]): void {
    this.lowCodes = lowCodes;
  }

  noiseCodes(level: number): Float64Array {
    return noiseCodesOf(this.lowCodes[level], level);
  }

  /** No measure where dust lies on the sensor. */
  private maskDisc(disc: MaskedDisc): void {
    this.codes.forEach((planes, level) => {
      const codes = this.arena.planeU16(planes);
      const { x, y, radius } = discAtLevel(disc, level);
      for (
        let row = Math.max(0, Math.ceil(y - radius));
        row <= Math.min(planes.height - 1, y + radius);
        row++
      ) {
        const half = Math.sqrt(radius * radius - (row - y) ** 2);
        const from = Math.max(0, Math.ceil(x - half));
        const to = Math.min(planes.width, Math.floor(x + half) + 1);
        if (to > from) codes.fill(0, row * planes.stride + from, row * planes.stride + to);
      }
    });
  }

  /** Notes the low end of a level's measures in the frame at hand. */
  private noteNoise(level: number): void {
    const luma = this.arena.planeU16(this.lumaCodes);
    const planes = this.codes[level];
    const codes = this.arena.planeU16(planes);
    const found: number[][] = Array.from({ length: noiseBins }, () => []);
    const lastRow = this.lumaCodes.height - 1;
    const lastColumn = this.lumaCodes.width - 1;
    const { edge, every } = noiseGrid(planes, level);
    for (let y = edge; y < planes.height - edge; y += every) {
      const row = Math.min(lastRow, y << level) * this.lumaCodes.stride;
      for (let x = edge; x < planes.width - edge; x += every) {
        const bin = noiseBin(luma[row + Math.min(lastColumn, x << level)] >> 6);
        found[bin].push(codes[y * planes.stride + x]);
      }
    }
    found.forEach((bin, b) => {
      if (bin.length < minNoiseSamples) return;
      const sorted = Uint16Array.from(bin).sort();
      this.lowCodes[level][b].push(sorted[Math.floor(sorted.length * 0.1)]);
    });
  }

  grid(level: number): CurveGrid {
    const { width, height, stride } = this.state[level];
    const [best, before, after, bestOrdinal] = (['best', 'before', 'after', 'bestOrdinal'] as const).map(
      (which) => this.plane(level, which),
    );
    return { width, height, stride, every: gridStep({ width, height }), best, before, after, bestOrdinal };
  }

  plane(level: number, which: StatePlane): Uint16Array {
    return this.arena.planeU16(this.state[level], statePlane[which]);
  }
}
