import { cellSizes, leastWeight, spillPoints, spillSamples } from '../blend/spill.js';
import { blurShare, maxSpillPx, plainShare } from '../model/constants/blend.js';
import { minApartFrames } from '../model/constants/model.js';
import { storedLength } from '../surface/depth-index.js';
import type { Gpu } from './device.js';
import { allRows, finerRows, type GpuPlanes, type RowsOf } from './planes.js';

/** Cells of 4 px in a block of 32. */
const blockCells = 8;
/** A cell is five words, a plane each: see wgsl/spillCells.wgsl. */
const cellWords = 5;

/** The spill in the device's memory: see blend/spill.ts. */
export interface GpuSpill {
  /** Planes of level 1, a word each: red and green, blue and share, depth index. */
  spill: GpuPlanes;
  /** Share of the picture over which it lies, 0 to 1. */
  share: number;
}

/**
 * Finds the spill: the twin of `SpillFinder.find`.
 *
 * @param surface A word a pixel: the stored depth index in the low, its weight in the high half.
 * @param lights Of level 1, what is sharpest: square roots of light, a byte a channel.
 * @param blurPx Radius of the blur one frame away.
 * @param nearSign 1 when nearer means a lower ordinal, -1 when higher.
 * @param fractionBits Of the surface's depth indices.
 */
export async function findGpuSpill(
  gpu: Gpu,
  surface: GpuPlanes,
  lights: GpuPlanes,
  blurPx: number,
  nearSign: -1 | 1,
  fractionBits: number,
): Promise<GpuSpill> {
  const gap = storedLength(minApartFrames, fractionBits);
  const blur = blurPx * blurShare;
  const cells = gatherCells(gpu, surface, lights, gap, nearSign);
  const reaches = findReaches(gpu, cells[0], gap, nearSign, blur / 2 ** fractionBits);
  const samples = gpu.takeTable(spillPoints());
  const count = gpu.takeTable(4);
  const spill = gpu.takePlanes(lights.width, lights.height, 3, 4);
  /** Rows of cells within the largest reach of rows of level 1. */
  const around = (size: number): RowsOf => {
    const reach = maxSpillPx / 2 + 1;
    return (from, to) => [(from - reach) >> (size + 1), ((to + reach) >> (size + 1)) + 1];
  };
  const [cells0, cells1, cells2, cells3, cells4] = cells.map((set, size) => ({ set, rows: around(size) }));
  gpu.run(
    'spill',
    {
      leastWeight,
      sampleCount: spillSamples,
      blur,
      gap,
      nearSign,
      fractionBits,
      plainShare: Math.ceil(plainShare),
    },
    {
      surface: { set: surface, rows: finerRows() },
      ...{ cells0, cells1, cells2, cells3, cells4 },
      reaches: { set: reaches, rows: (from, to) => [from >> 4, ((to + 15) >> 4) + 1] },
      samples,
      out: spill,
      count,
    },
    spill,
  );
  const spilled = new Uint32Array(1);
  await gpu.readTable(count, new Uint8Array(spilled.buffer));
  gpu.release(...cells, reaches, samples, count);
  return { spill, share: spilled[0] / (spill.width * spill.height) };
}

/** Cells of every size, the smallest first. */
function gatherCells(gpu: Gpu, surface: GpuPlanes, lights: GpuPlanes, gap: number, nearSign: -1 | 1) {
  const cells: GpuPlanes[] = [];
  while (cells.length < cellSizes) {
    const finer = cells.at(-1);
    const { width, height } = finer ?? lights;
    const out = gpu.takePlanes((width + 1) >> 1, (height + 1) >> 1, cellWords, 4);
    if (finer)
      gpu.run('mergeSpillCells', { gap, nearSign }, { fine: { set: finer, rows: finerRows() }, out }, out);
    else
      gpu.run(
        'spillCells',
        { leastWeight, gap, nearSign },
        {
          surface: { set: surface, rows: (from, to) => [4 * from, 4 * to] },
          lights: { set: lights, rows: finerRows() },
          out,
        },
        out,
      );
    cells.push(out);
  }
  return cells;
}

/** How far anything may spill into each block of 32 px: see blend/spill-reaches.ts. */
function findReaches(gpu: Gpu, cells: GpuPlanes, gap: number, nearSign: -1 | 1, pxPerUnit: number) {
  const width = Math.ceil(cells.width / blockCells);
  const height = Math.ceil(cells.height / blockCells);
  const blocks = gpu.takePlanes(width, height, 2, 4);
  const out = gpu.takePlanes(width, height, 1, 4);
  gpu.run(
    'spillBlocks',
    { nearSign },
    { cells: { set: cells, rows: (from, to) => [blockCells * from, blockCells * to] }, out: blocks },
    blocks,
  );
  gpu.run(
    'spillReaches',
    { gap, pxPerUnit, maxReachPx: maxSpillPx },
    { blocks: { set: blocks, rows: allRows }, out },
    out,
  );
  gpu.release(blocks);
  return out;
}
