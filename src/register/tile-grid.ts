import type { Size } from '../image/image.js';
import type { CentredMotion } from './centred-motion.js';

/** Tiles of a level as a grid over the frame; the pitch in full-size pixels. */
export interface TileGrid {
  columns: number;
  rows: number;
  pitch: number;
}

/** Bilinear between the centres of tiles, at a position about the frame's centre; constant beyond the outermost. */
export function readGrid(
  values: Float32Array,
  { columns, rows, pitch }: TileGrid,
  fullSize: Size,
  u: number,
  v: number,
): number {
  const x = Math.min(columns - 1, Math.max(0, (u + fullSize.width / 2) / pitch - 0.5));
  const y = Math.min(rows - 1, Math.max(0, (v + fullSize.height / 2) / pitch - 0.5));
  const left = Math.floor(x);
  const top = Math.floor(y);
  const right = Math.min(columns - 1, left + 1);
  const bottom = Math.min(rows - 1, top + 1);
  const s = x - left;
  const t = y - top;
  return (
    (1 - t) * ((1 - s) * values[top * columns + left] + s * values[top * columns + right]) +
    t * ((1 - s) * values[bottom * columns + left] + s * values[bottom * columns + right])
  );
}

/** The same where the centre of a tile of another frame lies, whose motion to that of the values is given. */
export function readMoved(
  values: Float32Array,
  grid: TileGrid,
  fullSize: Size,
  m: CentredMotion,
  tile: number,
): number {
  const column = tile % grid.columns;
  const u = (column + 0.5) * grid.pitch - fullSize.width / 2;
  const v = ((tile - column) / grid.columns + 0.5) * grid.pitch - fullSize.height / 2;
  return readGrid(values, grid, fullSize, m.a * u - m.b * v + m.x, m.b * u + m.a * v + m.y);
}
