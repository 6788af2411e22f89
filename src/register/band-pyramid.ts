import type { Arena, Planes } from '../kernels/arena.js';
import type { DirectKernels } from '../kernels/direct-kernels.js';
import { maxBandNoiseEnergy, maxCoarsestSide, tileSide } from '../model/constants/register.js';
import { momentCount } from './match-tile.js';

/** One level of a band-passed pyramid; pixel (x, y) lies at ((x + 0.5) * 2^level - 0.5, ...) of level 0. */
export interface BandLevel {
  width: number;
  height: number;
  /** Address of the band's pixel (0, 0) and floats from row to row. */
  pointer: number;
  stride: number;
  /**
   * (height, stride): difference of Gaussians of linear light, 0..255, zero mean. Columns from `width` on are padding.
   */
  band: Float32Array;
  /** Side of the square tiles that motion is measured on, pixels of this level; a multiple of 4. */
  tile: number;
  tilesX: number;
  tilesY: number;
  /** (tilesY, tilesX): mean square of the band over each tile. */
  tileEnergy: Float32Array;
  energyPointer: number;
  /** Fifth percentile of the tiles' energy, bounded by what noise can have. */
  noiseEnergy: number;
  /** (tiles, momentCount): each tile's normal matrix as a reference, computed on first use. */
  tileMoments: Float64Array;
  momentPointer: number;
  hasMoments: Uint8Array;
}

/** Buffers that every pyramid of one size shares while it is being filled. */
export interface PyramidScratch {
  /** Luminance of each level; that of level 0 is the caller's to fill. */
  luma: Planes[];
  rows: number;
  rowStride: number;
}

/** Rows of a strip: a multiple of every tile's side. */
const stripRows = 96;
/** Rows of scratch that the band kernel needs. */
const scratchRows = 17;

function levelSizes(width: number, height: number): [number, number][] {
  const sizes: [number, number][] = [[width, height]];
  for (let w = width, h = height; Math.max(w, h) > maxCoarsestSide && Math.min(w, h) >= 24; ) {
    w >>= 1;
    h >>= 1;
    sizes.push([w, h]);
  }
  return sizes;
}

/** Where a level of a pyramid lies in an arena: plain data, by which any thread finds it. */
export interface LevelPlace
  extends Pick<BandLevel, 'tile' | 'tilesX' | 'tilesY' | 'energyPointer' | 'momentPointer'> {
  planes: Planes;
}

/** Takes the memory of a pyramid. */
export function takePyramid(arena: Arena, width: number, height: number): LevelPlace[] {
  return levelSizes(width, height).map(([w, h]) => {
    const tile = Math.max(4, Math.min(tileSide, w, h) & ~3);
    const tilesX = Math.floor(w / tile);
    const tilesY = Math.floor(h / tile);
    const planes = arena.takePlanes(w, h, 1, 4);
    const energyPointer = arena.take(4 * tilesX * tilesY);
    const momentPointer = arena.take(8 * momentCount * tilesX * tilesY);
    return { planes, tile, tilesX, tilesY, energyPointer, momentPointer };
  });
}

/** The pyramid that lies there. All memory must be taken before: views on an arena are stale after it has grown. */
export function pyramidAt(places: readonly LevelPlace[], { buffer }: WebAssembly.Memory): BandLevel[] {
  return places.map(({ planes: { width, height, pointer, stride }, ...tiles }) => {
    const count = tiles.tilesX * tiles.tilesY;
    return {
      ...tiles,
      width,
      height,
      pointer,
      stride,
      band: new Float32Array(buffer, pointer, stride * (height - 1) + width),
      tileEnergy: new Float32Array(buffer, tiles.energyPointer, count),
      noiseEnergy: 0,
      tileMoments: new Float64Array(buffer, tiles.momentPointer, momentCount * count),
      hasMoments: new Uint8Array(count),
    };
  });
}

export function takePyramidScratch(arena: Arena, width: number, height: number): PyramidScratch {
  const luma = levelSizes(width, height).map(([w, h]) => arena.takePlanes(w, h, 1, 4));
  const rows = arena.takePlanes(width, scratchRows, 1, 4);
  return { luma, rows: rows.pointer, rowStride: rows.stride };
}

/** Fills all levels from the luminance in `scratch.luma[0]`. */
export function fillBandPyramid(
  levels: readonly BandLevel[],
  scratch: PyramidScratch,
  kernels: DirectKernels,
): void {
  for (const [n, level] of levels.entries()) {
    const { width, height, tile, tilesX, tilesY } = level;
    const from = scratch.luma[n];
    // [1 2 1]/4 and then the mean of two is [1 3 3 1]/8: no second filter is needed before halving.
    const next = scratch.luma[n + 1];
    level.tileEnergy.fill(0);
    for (let row = 0; row < height; row += stripRows) {
      kernels.bandStrip({
        luma: from.pointer,
        lumaStride: from.stride,
        band: level.pointer,
        stride: level.stride,
        width,
        height,
        from: row,
        to: Math.min(height, row + stripRows),
        next: next?.pointer ?? 0,
        nextStride: next?.stride ?? 0,
        nextWidth: next?.width ?? 0,
        nextHeight: next?.height ?? 0,
        energy: level.energyPointer,
        tile,
        tilesX,
        tilesY,
        scratch: scratch.rows,
        scratchStride: scratch.rowStride,
      });
    }
    level.hasMoments.fill(0);
    const sorted = level.tileEnergy.slice().sort();
    level.noiseEnergy = Math.min(maxBandNoiseEnergy, sorted[Math.floor(sorted.length / 20)] ?? 0);
  }
}

/** Top left pixel of a tile, moved inward by one at the border where its gradients need a pixel around it. */
export function tileOrigin(level: BandLevel, index: number): [number, number] {
  const { tile, tilesX, width, height } = level;
  const x = (index % tilesX) * tile;
  const y = Math.floor(index / tilesX) * tile;
  return [Math.min(Math.max(1, x), width - 1 - tile), Math.min(Math.max(1, y), height - 1 - tile)];
}
