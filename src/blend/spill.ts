import { statePlane } from '../focus/focus-curves.js';
import type { FocusTracker } from '../focus/focus-tracker.js';
import type { Size } from '../image/image.js';
import { levelSizes } from '../image/level-sizes.js';
import { affineArguments } from '../image/placed-frame.js';
import { curveArguments, type TransferCurve } from '../image/transfer-curve.js';
import { type Arena, planeOf, type Rows } from '../kernels/arena.js';
import type { PlacedFrame } from '../kernels/placed-frame.js';
import { stripRows } from '../kernels/row-windows.js';
import { blurShare, maxSpillPx, plainShare } from '../model/constants/blend.js';
import { minApartFrames } from '../model/constants/model.js';
import { fullWeight } from '../model/constants/surface.js';
import { storedLength } from '../surface/depth-index.js';
import { spiralPoints } from '../surface/spiral.js';
import type { Surface } from '../surface/surface.js';
import type { StripPool } from '../workers/pool.js';
import { spillReaches } from './spill-reaches.js';

/**
 * Foreground blur spill: light of nearer things, out of focus, that lies over farther detail in the frames that show it
 * sharp, and how it is subtracted: see assembly/spill.ts. In the arena, level 1, rows tight.
 */
export interface Spill {
  /** Light and share of the spill, four u16: red, green, blue, share. */
  spills: Rows;
  /** Stored depth indices (u16) of the frames that it lies over. */
  depthIndices: Rows;
}

/** Points of the disc of rays about a pixel. */
export const spillSamples = 48;
/** Cells of 4 to 64 px. */
export const cellSizes = 5;
const cellBytes = 24;
/** Stored weight below which a depth is too uncertain, of what spills and of what lies behind. */
export const leastWeight = fullWeight;

/** The points, denser near the centre: see `spiralPoints`. */
export function spillPoints(): Float32Array {
  return spiralPoints(spillSamples, (part) => part);
}

interface Cells extends Size, Rows {}

/**
 * Rows of cells of 4 px around those of a pixel that its disc reads: a sample at distance r (px of level 1) stands for
 * 2 pi r reach / samples, and reads a larger cell from 8 px² on, so r is below sqrt(8 samples / 2 pi).
 */
const cellHalo = Math.ceil(Math.sqrt((8 * spillSamples) / (2 * Math.PI)) / 2) + 2;

/** Room for the spill, in the arena. */
export function takeSpill(arena: Arena, size: Size): Spill {
  const { width, height } = levelSizes(size)[1];
  const window = arena.bands.composite(1, height, 0);
  return { spills: arena.takeRows(width * 8, window), depthIndices: arena.takeRows(width * 2, window) };
}

/** Records the light of what is sharp while the focus curves are followed; then computes the spill. */
export class SpillFinder {
  private readonly size: Size;
  /** Light that `note` keeps, four bytes a pixel of level 1, rows tight. */
  readonly lights: Rows;

  /** Takes room from the arena. The tracker follows two levels or more. */
  constructor(
    private readonly arena: Arena,
    private readonly pool: StripPool,
    private readonly tracker: FocusTracker,
    private readonly curve: TransferCurve,
  ) {
    const { width, height } = tracker.state[1];
    this.size = { width, height };
    this.lights = arena.takeRows(width * 4, arena.bands.composite(1, height, 0));
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
        best: planeOf(best, statePlane.bestOrdinal),
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
    const gap = storedLength(minApartFrames, fractionBits);
    const cells = await this.gatherCells(surface, gap, nearSign);
    const { reaches, blocks } = spillReaches((y) => arena.rowU16(cells[0], y), cells[0], {
      gap,
      nearSign,
      pxPerUnit: (blurPx * blurShare) / 2 ** fractionBits,
      maxReachPx: maxSpillPx,
    });
    const reachAt = arena.takeTable(reaches);
    const grids = arena.takeAddresses(cells, ({ width, height }) => [width, height]);
    const table = arena.takeTable(spillPoints());
    const { width, height } = this.size;
    await pool.run(
      'spillStrip',
      {
        depthIndices,
        weights,
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
    let spilled = 0;
    for (let y = 0; y < height; y++) {
      const values = arena.rowU16(spill.spills, y);
      for (let i = 3; i < values.length; i += 4) if (values[i] >= plainShare) spilled++;
    }
    return spilled / (width * height);
  }

  /** Cells of every size, the smallest first. */
  private async gatherCells(
    { depthIndices, weights }: Surface,
    gap: number,
    nearSign: -1 | 1,
  ): Promise<Cells[]> {
    const { arena, pool, size } = this;
    const cells: Cells[] = [];
    while (cells.length < cellSizes) {
      const finer = cells.at(-1);
      const fine = finer ?? size;
      const width = (fine.width + 1) >> 1;
      const height = (fine.height + 1) >> 1;
      // Cells of 4 px are as many as pixels of level 2.
      const window = arena.bands.composite(cells.length + 2, height, cellHalo);
      const cell = { width, height, ...arena.takeRows(width * cellBytes, window) };
      const strips = Math.ceil(height / stripRows);
      const out = { gap, nearSign, out: cell, width, height, stripRows };
      if (finer) {
        const from = { fine: finer, fineWidth: finer.width, fineHeight: finer.height };
        await pool.run('mergeSpillCellsStrip', { ...from, ...out }, strips);
      } else {
        await pool.run(
          'spillCellsStrip',
          {
            depthIndices,
            weights,
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
