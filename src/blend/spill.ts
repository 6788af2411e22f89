import { statePlane } from '../focus/focus-curves.js';
import type { FocusTracker } from '../focus/focus-tracker.js';
import type { Size } from '../image/image.js';
import { levelSizes } from '../image/level-sizes.js';
import { affineArguments, type PlacedFrame } from '../image/placed-frame.js';
import { curveArguments, type TransferCurve } from '../image/transfer-curve.js';
import type { Arena } from '../kernels/arena.js';
import { blurShare, maxSpillPx, plainShare, spillFrames } from '../model/constants/blend.js';
import { fullWeight } from '../model/constants/surface.js';
import { storedLength } from '../surface/depth-index.js';
import { spiralPoints } from '../surface/spiral.js';
import type { Surface } from '../surface/surface.js';
import type { StripPool } from '../workers/pool.js';
import { spillReaches } from './spill-reaches.js';

/**
 * Foreground blur spill: light of nearer things, out of focus, that lies over farther detail in the frames that show it
 * sharp, and how it is subtracted: see assembly/spill.ts. Addresses in the arena, level 1, rows tight.
 */
export interface Spill {
  /** Light and share of the spill, four u16: red, green, blue, share. */
  spills: number;
  /** Stored depth indices (u16) of the frames that it lies over. */
  depthIndices: number;
}

/** Points of the disc of rays about a pixel. */
export const spillSamples = 48;
/** Cells of 4 to 64 px. */
export const cellSizes = 5;
const cellBytes = 24;
/** Stored weight below which a depth is too uncertain, of what spills and of what lies behind. */
export const leastWeight = fullWeight;
const stripRows = 32;

/** The points, denser near the centre: see `spiralPoints`. */
export function spillPoints(): Float32Array {
  return spiralPoints(spillSamples, (part) => part);
}

/** Room for the spill, in the arena. */
export function takeSpill(arena: Arena, size: Size): Spill {
  const { width, height } = levelSizes(size)[1];
  return { spills: arena.take(width * height * 8), depthIndices: arena.take(width * height * 2) };
}

/** Records the light of what is sharp while the focus curves are followed; then computes the spill. */
export class SpillFinder {
  private readonly size: Size;
  private readonly lights: number;

  /** Takes room from the arena. The tracker follows two levels or more. */
  constructor(
    private readonly arena: Arena,
    private readonly pool: StripPool,
    private readonly tracker: FocusTracker,
    private readonly curve: TransferCurve,
  ) {
    const { width, height } = tracker.state[1];
    this.size = { width, height };
    this.lights = arena.take(width * height * 4);
  }

  /** Light that `note` keeps, four bytes a pixel of level 1, rows tight. */
  get lightBytes(): Uint8Array {
    return this.arena.u8(this.lights, this.size.width * this.size.height * 4);
  }

  /** To be called after the tracker has seen the frame. */
  async note(frame: PlacedFrame): Promise<void> {
    const best = this.tracker.state[1];
    await this.pool.run(
      'noteLightStrip',
      {
        source: frame.pointer,
        bits: frame.bits,
        sourceWidth: frame.width,
        sourceHeight: frame.height,
        gainR: frame.gainRatio[0],
        gainG: frame.gainRatio[1],
        gainB: frame.gainRatio[2],
        ...curveArguments(this.curve),
        ...affineArguments(frame.toFrame, 0),
        best: best.pointer + statePlane.bestOrdinal * best.planeBytes,
        stride: best.stride,
        width: best.width,
        height: best.height,
        ordinal: frame.ordinal,
        out: this.lights,
        stripRows,
      },
      Math.ceil(best.height / stripRows),
    );
  }

  /**
   * Finds the spill and returns the share of the picture over which it lies, 0 to 1.
   *
   * @param blurPx Radius of the blur one frame away: see `measureBlur`.
   * @param nearSign 1 when nearer means a lower ordinal, -1 when higher.
   */
  async find(spill: Spill, surface: Surface, blurPx: number, nearSign: -1 | 1): Promise<number> {
    const { arena, pool } = this;
    const { depthIndices, weights, fractionBits } = surface;
    const mark = arena.mark();
    const gap = storedLength(spillFrames, fractionBits);
    const cells = await this.gatherCells(surface, gap, nearSign);
    const { reaches, blocks } = spillReaches(
      arena.u16(cells[0].pointer, (cells[0].width * cells[0].height * cellBytes) / 2),
      cells[0],
      { gap, nearSign, pxPerUnit: (blurPx * blurShare) / 2 ** fractionBits, maxReachPx: maxSpillPx },
    );
    const reachAt = arena.take(reaches.byteLength);
    arena.f32(reachAt, reaches.length).set(reaches);
    const grids = arena.take(cells.length * 12);
    arena
      .u32(grids, cells.length * 3)
      .set(cells.flatMap(({ pointer, width, height }) => [pointer, width, height]));
    const table = arena.take(spillSamples * 12);
    arena.f32(table, spillSamples * 3).set(spillPoints());
    const { width, height } = this.size;
    await pool.run(
      'spillStrip',
      {
        depthIndices: depthIndices.pointer,
        weights: weights.pointer,
        leastWeight,
        stride: depthIndices.stride,
        cells: grids,
        sizes: cells.length,
        table,
        samples: spillSamples,
        blur: blurPx * blurShare,
        gap,
        nearSign,
        fractionBits,
        reaches: reachAt,
        blocks,
        outIndices: spill.depthIndices,
        outSpill: spill.spills,
        width,
        height,
        stripRows,
      },
      Math.ceil(height / stripRows),
    );
    arena.release(mark);
    const values = arena.u16(spill.spills, width * height * 4);
    let spilled = 0;
    for (let i = 3; i < values.length; i += 4) if (values[i] >= plainShare) spilled++;
    return spilled / (width * height);
  }

  /** Cells of every size, the smallest first. */
  private async gatherCells(
    { depthIndices, weights }: Surface,
    gap: number,
    nearSign: -1 | 1,
  ): Promise<(Size & { pointer: number })[]> {
    const { arena, pool, size } = this;
    const cells: (Size & { pointer: number })[] = [];
    while (cells.length < cellSizes) {
      const finer = cells.at(-1);
      const fine = finer ?? size;
      const width = (fine.width + 1) >> 1;
      const height = (fine.height + 1) >> 1;
      const cell = { width, height, pointer: arena.take(width * height * cellBytes) };
      const strips = Math.ceil(height / stripRows);
      const out = { gap, nearSign, out: cell.pointer, width, height, stripRows };
      if (finer) {
        const from = { fine: finer.pointer, fineWidth: finer.width, fineHeight: finer.height };
        await pool.run('mergeSpillCellsStrip', { ...from, ...out }, strips);
      } else {
        await pool.run(
          'spillCellsStrip',
          {
            depthIndices: depthIndices.pointer,
            weights: weights.pointer,
            leastWeight,
            stride: depthIndices.stride,
            fullWidth: depthIndices.width,
            fullHeight: depthIndices.height,
            lights: this.lights,
            lightWidth: fine.width,
            lightHeight: fine.height,
            ...out,
          },
          strips,
        );
      }
      cells.push(cell);
    }
    return cells;
  }
}
