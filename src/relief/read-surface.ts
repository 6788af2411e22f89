import { InputError } from '../errors.js';
import type { Size } from '../image/image.js';
import { median } from '../image/median.js';
import type { CoverageClassName } from '../result/coverage.js';
import type { RunRecord } from '../result/run-record.js';
import { growGround } from './grow-ground.js';
import { removeSpecks } from './remove-specks.js';
import type { ResultRasters } from './result-rasters.js';
import { isMetric, type ResultScale } from './scale.js';
import { linkCells, type SurfaceRaster } from './surface-raster.js';

/** What becomes of the ground that shows no detail, and of what is out of reach or has no depth. */
export type Ground = 'leave-out' | 'flat';

/** The surface of a result as a relief takes it. */
export interface ReliefSurface extends SurfaceRaster {
  /** Pixels of the composite a side of a cell. */
  cellPx: number;
  /** Share of the picture that is ground, left out or laid flat, 0 to 100. */
  groundPercent: number;
  /** Share of the cells that were specks, 0 to 100. */
  speckPercent: number;
}

/** Depth by which neighbours differ at a depth edge, usual steps, whatever the size of a pixel. */
const edgeSteps = 0.5;
/** Slope beyond which neighbours belong to two surfaces, degrees. */
const edgeDegrees = 80;
/** Share of the depths that are nearer than where ground is laid flat. */
const groundQuantile = 0.995;

/**
 * Reads the surface of a result by rows: each cell is the median of its pixels. Mended regions have the depth of the mend
 * there, as depth.tif has. No detail, out of reach and no depth count for ground.
 *
 * @param cellPx Pixels of the composite a side of a cell.
 * @param colours The composite at the size of the grid, (rows, cols, 3), sRGB.
 * @throws InputError when no pixel has a depth that is known.
 */
export function readSurface(
  rasters: ResultRasters,
  record: RunRecord,
  scale: ResultScale,
  cellPx: number,
  colours: Uint8Array,
  ground: Ground,
  folder: string,
): ReliefSurface {
  const size = cellGrid(record, cellPx);
  const { depth, noDetail, known, confidence, hasConfidence } = readCells(rasters, record, size, cellPx);
  if (!hasConfidence) {
    throw new InputError(
      `No pixel of ${folder} has a depth with any confidence, so there is no relief to make of it. Look at it with lamella view, or merge the stack again.`,
    );
  }
  const maxJump = edgeJump(scale, cellPx);
  growGround(depth, noDetail, colours, size, cellPx);
  const raster: SurfaceRaster = { ...size, depth, confidence, links: linkCells(depth, size, maxJump) };
  const specks = removeSpecks(raster, known, maxJump);
  let empty = 0;
  for (let i = 0; i < depth.length; i++) if (Number.isNaN(depth[i])) empty++;
  if (ground === 'flat' && empty > 0) {
    layFlat(raster);
    raster.links = linkCells(depth, size, maxJump);
  }
  return {
    ...raster,
    cellPx,
    groundPercent: (100 * empty) / depth.length,
    speckPercent: (100 * specks) / depth.length,
  };
}

/** Size of a grid of cells over the picture. */
export function cellGrid({ size }: RunRecord, cellPx: number): Size {
  return { width: Math.ceil(size.width / cellPx), height: Math.ceil(size.height / cellPx) };
}

/** Difference of depth between neighbouring cells that is a depth edge, units of depth.tif. */
export function edgeJump(scale: ResultScale, cellPx: number): number {
  const byStep = edgeSteps * scale.stepDepth;
  if (!isMetric(scale)) return byStep;
  const cell = (cellPx * scale.mmPerPixel) / scale.mmPerDepth;
  return Math.max(byStep, cell * Math.tan((edgeDegrees * Math.PI) / 180));
}

function readCells(
  { depth, confidence, coverage }: ResultRasters,
  record: RunRecord,
  { width, height }: Size,
  cellPx: number,
) {
  const { width: columns, height: rows } = record.size;
  const noDetailColour = colourOf(record, 'no-detail');
  const outOfReachColour = colourOf(record, 'out-of-reach');
  const cells = {
    /** As the relief has it: NaN is ground. */
    depth: new Float32Array(width * height).fill(Number.NaN),
    /** 1 where most shows no detail. */
    noDetail: new Uint8Array(width * height),
    /** As depth.tif has it, ground included. */
    known: new Float32Array(width * height).fill(Number.NaN),
    confidence: new Uint8Array(width * height),
    hasConfidence: false,
  };
  const depths = new Float32Array(columns * cellPx);
  const sure = new Uint8Array(columns * cellPx);
  const colours = new Uint8Array(columns * cellPx * 3);
  const solid = new Float64Array(cellPx * cellPx);
  const all = new Float64Array(cellPx * cellPx);
  for (let cellY = 0; cellY < height; cellY++) {
    const top = cellY * cellPx;
    const bandRows = Math.min(cellPx, rows - top);
    for (let y = 0; y < bandRows; y++) {
      const row = <A extends Float32Array | Uint8Array>(band: A, samples: number): A =>
        band.subarray(y * columns * samples, (y + 1) * columns * samples) as A;
      depth.readRow(top + y, 0, columns, row(depths, 1));
      confidence.readRow(top + y, 0, columns, row(sure, 1));
      coverage.readRow(top + y, 0, columns, row(colours, 3));
    }
    for (let cellX = 0; cellX < width; cellX++) {
      const left = cellX * cellPx;
      const right = Math.min(columns, left + cellPx);
      let [solids, knowns, blanks, confidences, pixels] = [0, 0, 0, 0, 0];
      for (let y = 0; y < bandRows; y++) {
        for (let x = left; x < right; x++) {
          const i = y * columns + x;
          const colour = (colours[3 * i] << 16) | (colours[3 * i + 1] << 8) | colours[3 * i + 2];
          pixels++;
          if (colour === noDetailColour) blanks++;
          if (!Number.isFinite(depths[i])) continue;
          all[knowns++] = depths[i];
          if (colour === noDetailColour || colour === outOfReachColour) continue;
          solid[solids++] = depths[i];
          confidences += sure[i];
        }
      }
      const at = cellY * width + cellX;
      if (2 * blanks > pixels) cells.noDetail[at] = 1;
      if (knowns > 0) cells.known[at] = median(all, knowns);
      if (2 * solids < pixels || solids === 0) continue;
      cells.depth[at] = median(solid, solids);
      cells.confidence[at] = Math.round(confidences / solids);
      cells.hasConfidence ||= confidences > 0;
    }
  }
  return cells;
}

/** Colour of a class in coverage.png, as a 24-bit number; undefined where the record names no such class. */
function colourOf(record: RunRecord, name: CoverageClassName): number | undefined {
  const found = record.maps.coverage.classes.find((known) => known.name === name);
  return found && Number.parseInt(found.colour.slice(1), 16);
}

/** Lays what is nothing flat behind nearly all that is something. */
function layFlat({ depth, confidence }: SurfaceRaster): void {
  const known = depth.filter((value) => !Number.isNaN(value)).sort();
  const back = known[Math.min(known.length - 1, Math.floor(groundQuantile * known.length))];
  for (let i = 0; i < depth.length; i++) {
    if (!Number.isNaN(depth[i])) continue;
    depth[i] = back;
    confidence[i] = 0;
  }
}
