import type { Size } from '../image/image.js';
import { levelSizes } from '../image/level-sizes.js';
import { affineArguments } from '../image/placed-frame.js';
import { type Arena, type Planes, planeOf, planesLayout } from '../kernels/arena.js';
import type { PlacedFrame } from '../kernels/placed-frame.js';
import { mostRows, type RowBands, type RowWindow, stripRows } from '../kernels/row-windows.js';
import { minNoiseSamples, prominenceCodes } from '../model/constants/focus.js';
import { JobBatch } from '../workers/job-batch.js';
import type { StripPool } from '../workers/pool.js';
import {
  type CurveGrid,
  type CurveLevel,
  discAtLevel,
  type FocusCurves,
  gridStep,
  type MaskedDisc,
  noiseBin,
  noiseBins,
  noiseCodesOf,
  noiseGrid,
  type SiteVote,
  type StatePlane,
  statePlane,
  statePlanes,
  unmeasuredEdge,
} from './focus-curves.js';
import { type SeenLevel, siteVotes } from './site-votes.js';

/** Of the three finest levels that are followed. */
const tonePlanes = [statePlane.tones, statePlane.coarseTones, statePlane.coarseTones];

/**
 * Follows the focus curve of every pixel at the finest levels, frame by frame, in memory of fixed size: best
 * value with its neighbours, and a second peak. Frames must come in the order of their ordinals.
 */
export class FocusTracker implements FocusCurves {
  /** Of each level that is followed, finest first. */
  readonly state: Planes[];
  /**
   * Where level 0 is not followed: its best codes and their ordinals, in the planes that a state has them in. The planes between
   * are never touched, and take no memory.
   */
  readonly picks: Planes | undefined;
  /** Of the frame at hand, by level of its pyramid: taken with the first frame, and of no use after the last. */
  private codes: Planes[];
  private luma: Planes[] = [];
  /** Of the finest level that is followed. */
  private lumaCodes: Planes;
  /** Two planes of the size of level 0's state, free once all frames are followed. */
  readonly work: Planes;
  /** Tenth percentiles: [level][brightness bin][frame]. */
  private readonly lowCodes: number[][][];

  constructor(
    private readonly arena: Arena,
    private readonly pool: Pick<StripPool, 'run'>,
    size: Size,
    private readonly frame: Size,
    readonly levels: number,
    private readonly dust: readonly MaskedDisc[] = [],
    readonly finest: CurveLevel = 0,
  ) {
    const out = levelSizes(size).slice(finest, levels);
    this.levels = out.length;
    const { bands } = arena;
    const takeState = ({ width, height }: Size, level: number, from: CurveLevel) =>
      arena.takeCleared(width, height, statePlanes(level), 2, stateWindow(bands, level, height, from));
    this.picks = finest > 0 ? takeState(size, 0, 0) : undefined;
    this.state = out.map((of, level) => takeState(of, level, finest));
    // The same region serves the finest level of a frame first, then the surface.
    const ofFrame = [frame.width, frame.height, 2, 2, bands.frame('codes', 0, frame.height)] as const;
    const ofState = [out[0].width, out[0].height, 2, 2, this.state[0].window] as const;
    const work = arena.take(workBytes(frame, ofFrame[4], out[0], ofState[4]));
    this.work = arena.layPlanes(work, ...ofState);
    const measured = arena.layPlanes(work, ...ofFrame);
    this.lumaCodes = planeOf(measured, 1);
    this.codes = [planeOf(measured, 0)];
    this.lowCodes = out.map(() => Array.from({ length: noiseBins }, () => []));
  }

  /** Room for the coarser levels of a frame. */
  private takeMeasures(): void {
    const { arena, frame, levels, finest: from } = this;
    const { bands } = arena;
    const sizes = levelSizes(frame).slice(1, from + levels);
    this.codes = [
      this.codes[0],
      ...sizes.map(({ width, height }, i) =>
        arena.takePlanes(width, height, 1, 2, bands.frame('codes', i + 1, height)),
      ),
    ];
    this.luma = [
      arena.takePlanes(1, 1, 1, 4),
      ...sizes.map(({ width, height }, i) =>
        arena.takePlanes(width, height, 1, 4, bands.frame('luma', i + 1, height)),
      ),
    ];
    if (from > 0) {
      const { width, height } = sizes[from - 1];
      this.lumaCodes = arena.takePlanes(width, height, 1, 2, bands.frame('codes', from, height));
    }
  }

  /** Bytes of scratch that a worker needs for frames of this width. */
  static scratchBytes(frame: Size): number {
    return 18 * (frame.width + 64) * 4 + 4096;
  }

  async add(frame: PlacedFrame): Promise<void> {
    if (this.luma.length === 0) this.takeMeasures();
    const { codes, luma, state, finest } = this;
    const jobs = new JobBatch(this.pool);
    const coarse = luma[1];
    jobs.run(
      'focusFinestStrip',
      {
        source: frame.pointer,
        bits: frame.bits,
        width: frame.width,
        height: frame.height,
        codes: codes[0],
        lumaOut: finest === 0 ? this.lumaCodes : 0,
        codeStride: codes[0].stride,
        coarse,
        coarseStride: coarse.stride,
        stripRows,
      },
      Math.ceil(frame.height / stripRows),
    );
    for (let level = 1; level < codes.length; level++) {
      const here = luma[level];
      const next = luma[level + 1];
      const stripRows = this.arena.bands.frameStripRows(level);
      jobs.run(
        'focusStrip',
        {
          luma: here,
          stride: here.stride,
          width: here.width,
          height: here.height,
          codes: codes[level],
          codeStride: codes[level].stride,
          stripRows,
        },
        Math.ceil(here.height / stripRows),
      );
      if (level === finest) {
        jobs.run(
          'lumaCodesStrip',
          {
            luma: here,
            stride: here.stride,
            width: here.width,
            height: here.height,
            out: this.lumaCodes,
            outStride: this.lumaCodes.stride,
            stripRows,
          },
          Math.ceil(here.height / stripRows),
        );
      }
      if (next) {
        jobs.run(
          'reduceStrip',
          {
            fine: here,
            stride: here.stride,
            planeBytes: here.planeBytes,
            width: here.width,
            height: here.height,
            coarse: next,
            coarseStride: next.stride,
            coarsePlaneBytes: next.planeBytes,
            planes: 1,
            stripRows,
          },
          Math.ceil(next.height / stripRows),
        );
      }
    }
    const measured = jobs.done();
    // Told below.
    measured.catch(() => {});
    if (this.dust.length > 0) {
      await measured;
      for (const disc of this.dust) this.maskDisc(disc);
    }
    if (this.picks) this.pick(frame, this.picks, jobs);
    for (let level = 0; level < this.levels; level++) {
      const s = state[level];
      const levelCodes = codes[level + finest];
      jobs.run(
        'trackStrip',
        {
          codes: levelCodes,
          codeStride: levelCodes.stride,
          sourceWidth: levelCodes.width,
          sourceHeight: levelCodes.height,
          luma: this.lumaCodes,
          lumaStride: this.lumaCodes.stride,
          lumaWidth: this.lumaCodes.width,
          lumaHeight: this.lumaCodes.height,
          tones: level < tonePlanes.length ? planeOf(state[0], tonePlanes[level]) : 0,
          toneStride: state[0].stride,
          toneWidth: state[0].width,
          toneHeight: state[0].height,
          level,
          ...affineArguments(frame.toFrame, level + finest),
          margin: unmeasuredEdge,
          state: s,
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
    }
    const followed = jobs.done();
    followed.catch(() => {});
    await measured;
    // Read here while the workers follow the curves: the codes stay as they are.
    for (let level = 0; level < this.levels; level++) this.noteNoise(level);
    await followed;
  }

  /** Takes the frame at level 0 wherever it is the sharpest so far. */
  private pick(frame: PlacedFrame, picks: Planes, jobs: JobBatch): void {
    const [codes] = this.codes;
    jobs.run(
      'pickStrip',
      {
        codes,
        codeStride: codes.stride,
        sourceWidth: codes.width,
        sourceHeight: codes.height,
        ...affineArguments(frame.toFrame, 0),
        margin: unmeasuredEdge,
        best: planeOf(picks, statePlane.best),
        ordinals: planeOf(picks, statePlane.bestOrdinal),
        stride: picks.stride,
        width: picks.width,
        height: picks.height,
        ordinal: frame.ordinal,
        stripRows,
      },
      Math.ceil(picks.height / stripRows),
    );
  }

  noiseCodes(level: number): Float64Array {
    return noiseCodesOf(this.lowCodes[level], level + this.finest);
  }

  /** No measure where dust lies on the sensor. */
  private maskDisc(disc: MaskedDisc): void {
    this.codes.forEach((planes, level) => {
      const { x, y, radius } = discAtLevel(disc, level);
      for (
        let row = Math.max(0, Math.ceil(y - radius));
        row <= Math.min(planes.height - 1, y + radius);
        row++
      ) {
        const half = Math.sqrt(radius * radius - (row - y) ** 2);
        const from = Math.max(0, Math.ceil(x - half));
        const to = Math.min(planes.width, Math.floor(x + half) + 1);
        if (to > from) for (const codes of this.arena.copiesOfRow(planes, row)) codes.fill(0, from, to);
      }
    });
  }

  /** Notes the low end of a level's measures in the frame at hand. */
  private noteNoise(level: number): void {
    const planes = this.codes[level + this.finest];
    const found: number[][] = Array.from({ length: noiseBins }, () => []);
    const lastRow = this.lumaCodes.height - 1;
    const lastColumn = this.lumaCodes.width - 1;
    const { edge, every } = noiseGrid(planes, level);
    for (let y = edge; y < planes.height - edge; y += every) {
      const luma = this.arena.rowU16(this.lumaCodes, Math.min(lastRow, y << level));
      const codes = this.arena.rowU16(planes, y);
      for (let x = edge; x < planes.width - edge; x += every) {
        const bin = noiseBin(luma[Math.min(lastColumn, x << level)] >> 6);
        found[bin].push(codes[x]);
      }
    }
    found.forEach((bin, b) => {
      if (bin.length < minNoiseSamples) return;
      const sorted = Uint16Array.from(bin).sort();
      this.lowCodes[level][b].push(sorted[Math.floor(sorted.length * 0.1)]);
    });
  }

  /** To be called when all frames are followed, before anything is asked of the curves. */
  finish(): void {
    for (const planes of [...(this.picks ? [this.picks] : []), ...this.state]) this.arena.share(planes);
  }

  grid(level: number): CurveGrid {
    const { width, height } = this.state[level];
    const step = gridStep({ width, height });
    const columns = Math.ceil(width / step);
    const rows = Math.ceil(height / step);
    const [best, before, after, bestOrdinal] = (['best', 'before', 'after', 'bestOrdinal'] as const).map(
      (which) => {
        const plane = planeOf(this.state[level], statePlane[which]);
        const some = new Uint16Array(columns * rows);
        for (let row = 0; row < rows; row++) {
          const values = this.arena.rowU16(plane, row * step);
          for (let i = 0; i < columns; i++) some[row * columns + i] = values[i * step];
        }
        return some;
      },
    );
    return { best, before, after, bestOrdinal };
  }

  *siteVotes(level: number, frames: number, apart: number): Generator<SiteVote> {
    for (const memory of this.state[level].window.own.keys())
      yield* siteVotes(this.seenLevel(level, memory), frames, apart);
  }

  /** A level as one memory holds it. */
  private seenLevel(level: number, memory: number): SeenLevel {
    const { width, height, stride, window } = this.state[level];
    const [full] = this.state;
    return {
      ...{ level, width, height, stride },
      ...window.own[memory],
      top: window.held[memory].from,
      lumaTop: full.window.held[memory].from,
      best: this.plane(level, 'best', memory),
      second: this.plane(level, 'second', memory),
      bestOrdinal: this.plane(level, 'bestOrdinal', memory),
      secondOrdinal: this.plane(level, 'secondOrdinal', memory),
      luma: this.plane(0, 'tones', memory),
      lumaStride: full.stride,
      lumaWidth: full.width,
      lumaHeight: full.height,
      noise: this.noiseCodes(level),
    };
  }

  /** The rows of a plane that a memory holds. */
  plane(level: number, which: StatePlane, memory = 0): Uint16Array {
    const { from, to } = this.state[level].window.held[memory];
    return this.arena.rowsU16(planeOf(this.state[level], statePlane[which]), memory, from, to);
  }
}

/**
 * Rows of the state around its own that a memory holds, by level: at least what kernels read (`kernelRows`), and what
 * `seeThrough` does: 11 rows of level 2, and the tones of level 0 at them.
 */
const stateHalos = [48, 40, 24];

/** Rows of the state that each memory has of a level, counted from the finest that is followed. */
export function stateWindow(
  bands: RowBands,
  level: number,
  height: number,
  finest: CurveLevel = 0,
): RowWindow {
  return bands.composite(level + finest, height, stateHalos[level] ?? 0);
}

/** Bytes of the two planes that serve a frame and then the surface. */
export function workBytes(frame: Size, ofFrame: RowWindow, size: Size, ofState: RowWindow): number {
  return Math.max(
    planesLayout(frame.width, mostRows(ofFrame), 2, 2).bytes,
    planesLayout(size.width, mostRows(ofState), 2, 2).bytes,
  );
}
