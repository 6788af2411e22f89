/** Rows `from` to `to` - 1. */
export interface RowRange {
  from: number;
  to: number;
}

/**
 * Which rows of a plane each memory of an arena holds, and which of them it computes: one entry a memory. Rows that several
 * hold are equal in all of them once they are shared (`Arena.share`).
 */
export interface RowWindow {
  /** Rows of the whole plane. */
  height: number;
  held: readonly RowRange[];
  own: readonly RowRange[];
}

/**
 * How a picture is cut into bands of rows, one for each memory. Levels are those of the pyramid: a row of level l lies at row
 * 2^l of level 0.
 */
export interface RowBands {
  /** Memories. */
  count: number;
  /**
   * Rows of a plane of the composite at a level: the band, and `halo` rows more above and below. Coarse levels are held whole
   * by every memory.
   */
  composite(level: number, height: number, halo: number): RowWindow;
  /** Rows of what a frame has at a level, in its own grid: those that the composite's band is made from. */
  frame(plane: FramePlane, level: number, height: number): RowWindow;
  /** Rows of a strip of what is computed in a frame's own grid at a level. */
  frameStripRows(level: number): number;
}

/** Samples of a frame; its luma; codes of its focus measure; the frame reduced to half its size. */
export type FramePlane = 'samples' | 'luma' | 'codes' | 'half';

/** Rows of a strip of what is computed in the composite's grid. */
export const stripRows = 32;

/** A plane that every memory holds, and computes, as a whole. */
export function wholeWindow(height: number, count: number): RowWindow {
  const whole = Array.from({ length: count }, () => ({ from: 0, to: height }));
  return { height, held: whole, own: whole };
}

/** Most rows that a memory holds. */
export function mostRows({ held }: RowWindow): number {
  return Math.max(...held.map(({ from, to }) => to - from));
}

/** One memory that holds everything. */
export const oneBand: RowBands = {
  count: 1,
  composite: (_level, height) => wholeWindow(height, 1),
  frame: (_plane, _level, height) => wholeWindow(height, 1),
  frameStripRows: () => stripRows,
};
