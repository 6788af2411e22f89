import type { Size } from '../image/image.js';
import type { PictureRegion } from '../trace/picture-region.js';

/** Side of a tile, pixels of its level. */
export const tileSize = 512;

/** A tile of a picture: level l shows it at 1 / 2^l. */
export interface TileAddress {
  level: number;
  column: number;
  row: number;
}

/** Levels down to one tile. */
export function levelCount({ width, height }: Size): number {
  let levels = 1;
  while (Math.max(width, height) > tileSize << (levels - 1)) levels++;
  return levels;
}

/** Columns and rows of tiles of a level. */
export function tileCounts(level: number, { width, height }: Size): [columns: number, rows: number] {
  const side = tileSize * 2 ** level;
  return [Math.ceil(width / side), Math.ceil(height / side)];
}

/** The pixels of its level that a tile holds; undefined when there is no such tile. */
export function tileRegion({ level, column, row }: TileAddress, size: Size): PictureRegion | undefined {
  if (level >= levelCount(size)) return undefined;
  const step = 2 ** level;
  const width = Math.ceil(size.width / step);
  const height = Math.ceil(size.height / step);
  const x = column * tileSize;
  const y = row * tileSize;
  if (x >= width || y >= height) return undefined;
  return { x, y, width: Math.min(tileSize, width - x), height: Math.min(tileSize, height - y) };
}
